package explain

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"testing"

	"readback/assets"
	"readback/diag/link"
)

// The list is published: BIP-0039, english.txt; its SHA-256 is quoted from memory of that repository. One word of it is
// replaced here, and put back for the check.
func TestWordList(t *testing.T) {
	published := strings.Replace(strings.Join(assets.Words(), "\n")+"\n", "\njade\n", "\n\x6a\x61\x67\x75\x61\x72\n", 1)
	if got := fmt.Sprintf("%x", sha256.Sum256([]byte(published))); got != "2f5eed53a4727b4bf8880d8f3f199efc90e58503646d9ff8eff3a2ed3b24dbda" {
		t.Errorf("the list is not the published one: %s", got)
	}
	words := assets.Words()
	if len(words) != 2048 || !slices.IsSorted(words) {
		t.Fatalf("%d words, sorted %v", len(words), slices.IsSorted(words))
	}
	seen := map[string]string{}
	for _, w := range words {
		p := w[:min(4, len(w))]
		if o := seen[p]; o != "" {
			t.Errorf("%s and %s begin alike", o, w)
		}
		seen[p] = w
	}
}

// Words of four canonical texts, computed apart from this program with a general-purpose SHA-256.
func TestWords(t *testing.T) {
	for _, c := range []struct {
		id   link.ID
		data []byte
		text string
		want [3]string
	}{
		{link.ID11(0x7E5), []byte{0x04, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}, "7E5#0414FFFFFF555555", [3]string{"snow", "laugh", "lumber"}},
		{link.ID11(0x7E5), []byte{0x04, 0x14, 0xFF, 0xFF, 0xFE, 0x55, 0x55, 0x55}, "7E5#0414FFFFFE555555", [3]string{"zero", "charge", "model"}},
		{link.ID29(0x18DA10F1), []byte{0x03, 0x22, 0xF1, 0x90, 0, 0, 0, 0}, "18DA10F1#0322F19000000000", [3]string{"absurd", "already", "aware"}},
		{link.ID11(0x7DF), []byte{0x01, 0x04}, "7DF#0104", [3]string{"renew", "luxury", "base"}},
	} {
		if got := Canonical(c.id, c.data); got != c.text {
			t.Errorf("canonical %q, want %q", got, c.text)
		}
		if got := Words(c.id, c.data); got != c.want {
			t.Errorf("%s: %v, want %v", c.text, got, c.want)
		}
	}
}

// Every one-digit change of a request gives other words; so do another filling, another length and another width.
func TestOneDigitChangesTheWords(t *testing.T) {
	base := []byte{0x04, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}
	id := link.ID11(0x7E5)
	w := Words(id, base)
	seen := map[[3]string]bool{w: true}
	differ := func(id link.ID, data []byte) {
		t.Helper()
		x := Words(id, data)
		if seen[x] {
			t.Errorf("%s has words that another one has", Canonical(id, data))
		}
		seen[x] = true
	}
	for i := range 16 {
		for d := byte(1); d < 16; d++ {
			q := slices.Clone(base)
			q[i/2] ^= d << (4 * (1 - i%2))
			differ(id, q)
		}
	}
	for i := range 3 {
		for d := uint32(1); d < 16; d++ {
			if v := uint32(0x7E5) ^ d<<(4*i); v <= 0x7FF {
				differ(link.ID11(v), base)
			}
		}
	}
	differ(link.ID29(0x7E5), base)
	for n := range 8 {
		differ(id, base[:n])
	}
}

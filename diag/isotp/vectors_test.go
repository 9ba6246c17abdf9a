package isotp

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"strconv"
	"strings"
	"testing"

	"readback/testdata"
)

func unzip(t *testing.T, b []byte) []byte {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	out, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// vectorPayload is the rule of the published vectors: byte i of a message of n bytes.
func vectorPayload(n int) []byte {
	p := make([]byte, n)
	for i := range p {
		p[i] = byte(7*i + n)
	}
	return p
}

var layouts = []Layout{
	{Short: true},
	{Pad: 0xCC},
	{Extended: true, Address: 0xF1, Short: true},
	{Extended: true, Address: 0xF1, Pad: 0xCC},
}

// TestDigests compares every frame of 4,108 message lengths in four layouts with the published digests, and puts
// each message together again. Source: testdata.ISOTPDigests (scapy 2.5.0 and an independent segmenter).
func TestDigests(t *testing.T) {
	rows := 0
	for line := range strings.Lines(string(unzip(t, testdata.ISOTPDigests))) {
		c := strings.Split(strings.TrimSpace(line), "\t")
		n, err := strconv.Atoi(c[0])
		if err != nil {
			continue // the head
		}
		rows++
		counts, digests := []string{c[1], c[1], c[4], c[4]}, []string{c[2], c[3], c[5], c[6]}
		for i, l := range layouts {
			payload := vectorPayload(n)
			frames, err := Segment(payload, l)
			if err != nil {
				t.Fatalf("%d bytes: %v", n, err)
			}
			if want, _ := strconv.Atoi(counts[i]); len(frames) != want {
				t.Fatalf("%d bytes, layout %d: %d frames, want %d", n, i, len(frames), want)
			}
			h := sha256.New()
			r := NewReassembler(l.Extended, 1<<20)
			var whole []byte
			for _, f := range frames {
				h.Write([]byte{byte(len(f))})
				h.Write(f)
				if s := r.Frame(f); s.Event == Completed {
					whole = s.Message
				} else if s.Cause != nil {
					t.Fatalf("%d bytes, layout %d: %v", n, i, s.Cause)
				}
			}
			if got := hex.EncodeToString(h.Sum(nil))[:32]; got != digests[i] {
				t.Fatalf("%d bytes, layout %d: digest %s, want %s", n, i, got, digests[i])
			}
			if !bytes.Equal(whole, payload) {
				t.Fatalf("%d bytes, layout %d: the reassembled message differs", n, i)
			}
		}
	}
	if rows != 4108 {
		t.Fatalf("%d lengths checked, want 4108", rows)
	}
}

// TestFrames compares the frames themselves. Source: testdata.ISOTPFrames.
func TestFrames(t *testing.T) {
	s := bufio.NewScanner(bytes.NewReader(unzip(t, testdata.ISOTPFrames)))
	s.Buffer(nil, 1<<20)
	rows := 0
	for s.Scan() {
		var v struct {
			Ext, Pad *byte
			Payload  string
			Frames   []string
		}
		if err := json.Unmarshal(s.Bytes(), &v); err != nil {
			t.Fatal(err)
		}
		rows++
		l := Layout{Short: v.Pad == nil}
		if v.Pad != nil {
			l.Pad = *v.Pad
		}
		if v.Ext != nil {
			l.Extended, l.Address = true, *v.Ext
		}
		payload, err := hex.DecodeString(v.Payload)
		if err != nil {
			t.Fatal(err)
		}
		frames, err := Segment(payload, l)
		if err != nil {
			t.Fatal(err)
		}
		for i, f := range frames {
			if i >= len(v.Frames) || hex.EncodeToString(f) != v.Frames[i] {
				t.Fatalf("%d bytes: frame %d is %x", len(payload), i, f)
			}
		}
		if len(frames) != len(v.Frames) {
			t.Fatalf("%d bytes: %d frames, want %d", len(payload), len(frames), len(v.Frames))
		}
	}
	if rows != 22*4 {
		t.Fatalf("%d messages checked, want 22 lengths in 4 layouts", rows)
	}
}

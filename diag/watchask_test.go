package diag

import (
	"slices"
	"testing"

	"readback/diag/link"
)

// TestMostInOneFrame: values share a request only as far as it is a single frame, which an address byte makes shorter.
func TestMostInOneFrame(t *testing.T) {
	request, answer := link.ID11(0x6F1), link.ID11(0x612)
	for _, c := range []struct {
		mode link.Mode
		kind LiveKind
		most int
	}{
		{link.Normal, LiveParameter, 6}, {link.Normal, LiveIdentifier, 3}, {link.NormalFixed, LiveIdentifier, 3},
		{link.Extended, LiveParameter, 5}, {link.Extended, LiveIdentifier, 2}, {link.Mixed, LiveIdentifier, 2},
		{link.Header, LiveParameter, 1}, {link.Header, LiveIdentifier, 1},
	} {
		k := LiveKey{Address: link.Address{Mode: c.mode, Request: request, Answer: answer}, Kind: c.kind}
		if got := k.most(); got != c.most {
			t.Errorf("%v, %s: %d, want %d", c.mode, c.kind, got, c.most)
		}
	}
}

// FuzzCutValues: an answer is cut into values that were asked for, which are all of its bytes once; what can't be parted without
// doubt is left whole.
func FuzzCutValues(f *testing.F) {
	f.Add([]byte{0x62, 0xDD, 0x00, 1, 2, 0xDD, 0x01, 3}, byte(2), byte(1), byte(4))
	f.Add([]byte{0x62, 0xDD, 0x01, 3, 0xDD, 0x02, 1, 1, 1, 1}, byte(2), byte(1), byte(4))
	f.Add([]byte{0x62, 0xDD, 0x00, 1, 2, 0xDD, 0x00, 1, 2}, byte(2), byte(2), byte(2))
	f.Add([]byte{0x62, 0xDD, 0x00}, byte(0), byte(0), byte(0))
	f.Add([]byte{0x7F, 0x22, 0x31}, byte(1), byte(1), byte(1))
	asked := []uint16{0xDD00, 0xDD01, 0xDD02}
	f.Fuzz(func(t *testing.T, answer []byte, a, b, c byte) {
		sizes := []int{int(a), int(b), int(c)}
		for n := 1; n <= len(asked); n++ {
			got := cutValues(answer, asked[:n], func(i int, raw []byte) bool { return len(raw) == sizes[i] })
			sum := 1
			for id, raw := range got {
				if i := slices.Index(asked[:n], id); i < 0 || len(raw) == 0 || n > 1 && len(raw) != sizes[i] {
					t.Fatalf("% X: %04X is % X", answer, id, raw)
				}
				sum += 2 + len(raw)
			}
			if len(got) > 0 && sum != len(answer) {
				t.Fatalf("% X: %d of %d bytes are in %v", answer, sum, len(answer), got)
			}
		}
	})
}

package trace

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"go.einride.tech/can"
)

// endless is a recording that never ends: a beginning, and then the same block again and again. It counts what is taken.
type endless struct {
	head, block []byte
	taken       int
}

func (e *endless) Read(p []byte) (n int, err error) {
	for n < len(p) {
		if at := e.taken + n; at < len(e.head) {
			n += copy(p[n:], e.head[at:])
		} else {
			n += copy(p[n:], e.block[(at-len(e.head))%len(e.block):])
		}
	}
	e.taken += n
	return n, nil
}

// beginning is a recording without a frame, and one frame of it as a block.
func beginning(t *testing.T) (head, block []byte) {
	t.Helper()
	var out bytes.Buffer
	w, err := NewWriter(&out)
	if err == nil {
		err = w.Write(Entry{At: time.Unix(1, 0), Level: Frame, Frames: []can.Frame{{ID: 0x7E8, Length: 8}}})
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	at := 0
	for binary.LittleEndian.Uint32(out.Bytes()[at:]) != packetBlock {
		at += int(binary.LittleEndian.Uint32(out.Bytes()[at+4:]))
	}
	end := at + int(binary.LittleEndian.Uint32(out.Bytes()[at+4:]))
	return out.Bytes()[:at], out.Bytes()[at:end]
}

// TestEndlessRecording: what never ends is read up to the bounds of a recording, and then refused and not taken for its end.
func TestEndlessRecording(t *testing.T) {
	head, frame := beginning(t)
	other := make([]byte, 1<<20) // a block of a kind that nobody knows is passed over (draft-ietf-opsawg-pcapng, 3.1)
	binary.LittleEndian.PutUint32(other, 0x0BAD0BAD)
	binary.LittleEndian.PutUint32(other[4:], uint32(len(other)))
	binary.LittleEndian.PutUint32(other[len(other)-4:], uint32(len(other)))
	for _, c := range []struct {
		name, want string
		block      []byte
		frames     int
	}{
		{"blocks that nobody knows", "more than 536870912 bytes", other, 0},
		{"frames", "more packets than this program reads", frame, 5000},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := &endless{head: head, block: c.block}
			r, err := newReader(in, "endless.pcapng")
			if c.frames > 0 {
				r.n = MaxPackets - c.frames // as though so many had been read before
			}
			frames := 0
			for b := new(Batch); err == nil; frames += len(b.Entries) {
				err = r.Fill(b)
			}
			var f *FormatError
			if !errors.As(err, &f) || !strings.Contains(err.Error(), c.want) || frames != c.frames || in.taken > MaxFileSize+1<<20 {
				t.Errorf("%d frames of %d bytes, then %v", frames, in.taken, err)
			}
		})
	}
}

// TestBounded: a recording of just the largest size ends, and one byte more is noticed.
func TestBounded(t *testing.T) {
	for _, c := range []struct {
		size int
		want error
	}{{9, nil}, {10, nil}, {11, errTooLarge}} {
		b, err := io.ReadAll(&bounded{bytes.NewReader(make([]byte, c.size)), 10})
		if len(b) != min(c.size, 10) || !errors.Is(err, c.want) {
			t.Errorf("of %d bytes: %d, %v", c.size, len(b), err)
		}
	}
}

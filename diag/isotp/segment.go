package isotp

import (
	"fmt"
	"math"
)

// Layout is how the frames of one direction are laid out.
type Layout struct {
	// Extended puts Address before the control bytes: the target address of extended addressing or the address
	// extension of mixed addressing.
	Extended bool
	Address  byte
	// Pad fills frames up to 8 bytes, unless Short leaves them as short as their content.
	Pad   byte
	Short bool
}

// head is how many bytes stand before the control bytes.
func (l Layout) head() int {
	if l.Extended {
		return 1
	}
	return 0
}

// frame puts the address byte, the control bytes and as much of payload as fits into one data field, and returns the
// rest of payload.
func (l Layout) frame(pci []byte, payload []byte) (data, rest []byte) {
	data = make([]byte, 0, frameSize)
	if l.Extended {
		data = append(data, l.Address)
	}
	data = append(data, pci...)
	n := min(len(payload), frameSize-len(data))
	data = append(data, payload[:n]...)
	if !l.Short {
		for len(data) < frameSize {
			data = append(data, l.Pad)
		}
	}
	return data, payload[n:]
}

// SingleLength is the longest message that fits into one frame of this layout.
func (l Layout) SingleLength() int { return frameSize - 1 - l.head() }

// Segment lays a message out as data fields of frames: one single frame, or a first frame and its consecutive frames.
// Messages of 1 to 2³²-1 bytes can be sent.
func Segment(payload []byte, l Layout) ([][]byte, error) {
	switch {
	case len(payload) == 0:
		return nil, fmt.Errorf("isotp: an empty message can't be sent")
	case uint64(len(payload)) > math.MaxUint32:
		return nil, fmt.Errorf("isotp: %d bytes are more than a message can have", len(payload))
	case len(payload) <= l.SingleLength():
		f, _ := l.frame([]byte{pciSingle<<4 | byte(len(payload))}, payload)
		return [][]byte{f}, nil
	}
	n := len(payload)
	pci := []byte{pciFirst<<4 | byte(n>>8), byte(n)}
	if n > shortLength {
		pci = []byte{pciFirst << 4, 0, byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)}
	}
	f, rest := l.frame(pci, payload)
	frames := append(make([][]byte, 0, 1+n/(l.SingleLength())+1), f)
	for seq := byte(1); len(rest) > 0; seq++ {
		f, rest = l.frame([]byte{pciConsecutive<<4 | seq&0xF}, rest)
		frames = append(frames, f)
	}
	return frames, nil
}

// Encode lays out a flow control frame.
func (c FlowControl) Encode(l Layout) []byte {
	f, _ := l.frame([]byte{pciFlow<<4 | byte(c.Status), c.BlockSize, c.Separation}, nil)
	return f
}

// SinglePayload returns what a well-formed single frame carries; ok is false for every other data field.
func SinglePayload(data []byte, extended bool) (payload []byte, ok bool) {
	l := Layout{Extended: extended}
	if len(data) > frameSize || len(data) < l.head()+2 {
		return nil, false
	}
	data = data[l.head():]
	n := int(data[0] & 0xF)
	if data[0]>>4 != pciSingle || n == 0 || n > l.SingleLength() || n > len(data)-1 {
		return nil, false
	}
	return data[1 : 1+n], true
}

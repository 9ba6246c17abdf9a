package isotp

import (
	"errors"
	"fmt"
	"math"
)

// Layout is how the frames of one direction are laid out.
type Layout struct {
	// Extended puts Address before the control bytes: the target address of extended addressing or the address
	// extension of mixed addressing (clauses 10.3.4 and 10.3.5). Normal and normal fixed addressing have no such byte.
	Extended bool
	Address  byte
	// Pad fills frames up to 8 bytes, unless Short leaves them as short as their content (clause 10.4.2).
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

// SingleLength is the longest message that fits into one frame of this layout: 7 bytes, or 6 with an address byte.
func (l Layout) SingleLength() int { return frameSize - 1 - l.head() }

// firstLength is how much of a message of n bytes its first frame carries.
func (l Layout) firstLength(n int) int {
	if n > shortLength {
		return frameSize - 6 - l.head()
	}
	return frameSize - 2 - l.head()
}

// appendFrame puts the address byte, the control bytes and as much of payload as fits into one data field at the end
// of buf, and returns the rest of payload.
func (l Layout) appendFrame(buf []byte, payload []byte, control ...byte) (longer, rest []byte) {
	start := len(buf)
	if l.Extended {
		buf = append(buf, l.Address)
	}
	buf = append(buf, control...)
	n := min(len(payload), start+frameSize-len(buf))
	buf = append(buf, payload[:n]...)
	for !l.Short && len(buf) < start+frameSize {
		buf = append(buf, l.Pad)
	}
	return buf, payload[n:]
}

var errEmpty = errors.New("isotp: an empty message can't be sent")

// Segment lays a message out as data fields of frames: one single frame, or a first frame and its consecutive frames.
// Messages of 1 to 2³²-1 bytes can be sent.
func Segment(payload []byte, l Layout) ([][]byte, error) {
	n := len(payload)
	switch {
	case n == 0:
		return nil, errEmpty
	case uint64(n) > math.MaxUint32:
		return nil, fmt.Errorf("isotp: %d bytes are more than a message can have", n)
	case n <= l.SingleLength():
		f, _ := l.appendFrame(make([]byte, 0, frameSize), payload, pciSingle<<4|byte(n))
		return [][]byte{f}, nil
	}
	count := 2 + n/l.SingleLength() // at least what is needed
	buf, frames := make([]byte, 0, count*frameSize), make([][]byte, 0, count)
	rest := payload
	for seq := byte(0); len(rest) > 0; seq++ {
		start := len(buf)
		switch {
		case start > 0:
			buf, rest = l.appendFrame(buf, rest, pciConsecutive<<4|seq&0xF)
		case n > shortLength:
			buf, rest = l.appendFrame(buf, rest, pciFirst<<4, 0, byte(n>>24), byte(n>>16), byte(n>>8), byte(n))
		default:
			buf, rest = l.appendFrame(buf, rest, pciFirst<<4|byte(n>>8), byte(n))
		}
		frames = append(frames, buf[start:len(buf):len(buf)])
	}
	return frames, nil
}

// flowLength is how many bytes a flow control has.
const flowLength = 3

// Encode lays out a flow control frame (clause 9.6.5).
func (c FlowControl) Encode(l Layout) []byte {
	f, _ := l.appendFrame(make([]byte, 0, frameSize), nil, pciFlow<<4|byte(c.Status)&0xF, c.BlockSize, c.Separation)
	return f
}

// ParseFlowControl reads the data field of a flow control frame; ok is false for every other data field. Status may
// be a reserved value, which ends a transmission.
func ParseFlowControl(data []byte, extended bool) (c FlowControl, ok bool) {
	head := Layout{Extended: extended}.head()
	if len(data) > frameSize || len(data) < head+flowLength || data[head]>>4 != pciFlow {
		return FlowControl{}, false
	}
	return FlowControl{Status: FlowStatus(data[head] & 0xF), BlockSize: data[head+1], Separation: data[head+2]}, true
}

// SinglePayload returns what a well-formed single frame carries; ok is false for every other data field.
func SinglePayload(data []byte, extended bool) (payload []byte, ok bool) {
	head := Layout{Extended: extended}.head()
	if len(data) > frameSize || len(data) < head+2 {
		return nil, false
	}
	data = data[head:]
	n := int(data[0] & 0xF)
	if data[0]>>4 != pciSingle || n == 0 || n > len(data)-1 {
		return nil, false
	}
	return data[1 : 1+n], true
}

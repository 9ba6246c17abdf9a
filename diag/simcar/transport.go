package simcar

import (
	"context"
	"time"

	"readback/diag/link"

	"go.einride.tech/can"
)

// Frame kinds of ISO 15765-2: the high half of the first byte.
const (
	singleFrame      = 0x0
	firstFrame       = 0x1
	consecutiveFrame = 0x2
	flowControl      = 0x3
)

// Flow states of a flow control frame.
const (
	clearToSend = 0x0
	waitMore    = 0x1
	overflow    = 0x2
)

const (
	nBs       = time.Second // a sender waits for flow control, ISO 15765-2
	nCr       = time.Second // a receiver waits for the next consecutive frame
	maxLength = 4095        // that a first frame of 12 bits can announce
	mostWaits = 16          // wait frames in a row that a sender puts up with (N_WFTmax)
)

// single is the message of a single frame, nil when its length is not possible.
func single(f can.Frame) []byte {
	n := f.Data[0] & 0x0F
	if n == 0 || n >= f.Length {
		return nil
	}
	return append([]byte(nil), f.Data[1:1+n]...)
}

// receive makes a whole request of a frame and those that follow it. It returns nil when nothing came of it: the
// standard has a receiver drop what is out of order without a word.
func (p *port) receive(ctx context.Context, f can.Frame) (req []byte, functional bool) {
	functional = link.IDOf(f) != p.m.spec.Request
	switch {
	case f.Length == 0:
		return nil, functional
	case f.Data[0]>>4 == singleFrame:
		return single(f), functional
	case f.Data[0]>>4 == firstFrame && !functional && f.Length == can.MaxDataLength:
		return p.reassemble(ctx, f), false
	}
	return nil, functional
}

// reassemble receives a request of several frames.
func (p *port) reassemble(ctx context.Context, first can.Frame) []byte {
	length := int(first.Data[0]&0x0F)<<8 | int(first.Data[1])
	if length == 0 { // the long form: 32 bits follow
		length = int(first.Data[2])<<24 | int(first.Data[3])<<16 | int(first.Data[4])<<8 | int(first.Data[5])
		if length <= maxLength {
			return nil
		}
	}
	if length < can.MaxDataLength {
		return nil
	}
	if length > p.m.spec.Room {
		p.put(ctx, []byte{flowControl<<4 | overflow, 0, 0})
		return nil
	}
	msg := append(make([]byte, 0, length), first.Data[2:]...)
	if !p.permit(ctx) {
		return nil
	}
	block := 0
	for sn := byte(1); ; sn++ {
		f, ok := p.nextConsecutive(ctx)
		if !ok || f.Data[0]&0x0F != sn&0x0F {
			return nil
		}
		need := min(length-len(msg), 7)
		if int(f.Length) < 1+need {
			return nil
		}
		msg = append(msg, f.Data[1:1+need]...)
		if len(msg) == length {
			return msg
		}
		if block++; block == p.m.spec.Block {
			block = 0
			if !p.permit(ctx) {
				return nil
			}
		}
	}
}

// nextConsecutive waits for the next consecutive frame. A new request to this module ends the old one and is served
// next; a request to all modules waits its turn.
func (p *port) nextConsecutive(ctx context.Context) (f can.Frame, ok bool) {
	timer := time.NewTimer(nCr)
	defer timer.Stop()
	for {
		f, ok = p.next(ctx, timer.C)
		if !ok || f.Length == 0 {
			return f, false
		}
		own := link.IDOf(f) == p.m.spec.Request
		switch f.Data[0] >> 4 {
		case consecutiveFrame:
			if own {
				return f, true
			}
		case singleFrame, firstFrame:
			p.waiting = append(p.waiting, f)
			if own {
				return f, false
			}
		}
	}
}

// permit sends flow control: go on, with this module's block size and separation time.
func (p *port) permit(ctx context.Context) bool {
	return p.put(ctx, []byte{flowControl<<4 | clearToSend, byte(p.m.spec.Block), byte(p.m.spec.Separation)})
}

// put sends one frame, filled up as this module does.
func (p *port) put(ctx context.Context, data []byte) bool {
	f := can.Frame{ID: p.m.spec.Answer.Value, IsExtended: p.m.spec.Answer.Extended, Length: uint8(len(data))}
	n := copy(f.Data[:], data)
	if pad := p.m.spec.Padding; pad != nil {
		for i := n; i < can.MaxDataLength; i++ {
			f.Data[i] = byte(*pad)
		}
		f.Length = can.MaxDataLength
	}
	if p.car.mischief == nil {
		return p.bus.Send(ctx, f) == nil
	}
	for _, l := range p.car.mischief.frames(p.m, f) {
		if l.after > 0 && !elapse(ctx, l.after) || p.bus.Send(ctx, l.Frame) != nil {
			return false
		}
	}
	return true
}

// send sends one message. It returns false when the tester did not let it finish.
func (p *port) send(ctx context.Context, msg []byte) bool {
	if len(msg) <= 7 {
		return p.put(ctx, append([]byte{byte(len(msg))}, msg...))
	}
	if len(msg) > maxLength {
		return false
	}
	if !p.put(ctx, append([]byte{firstFrame<<4 | byte(len(msg)>>8), byte(len(msg))}, msg[:6]...)) {
		return false
	}
	rest := msg[6:]
	block, separation, ok := p.awaitPermit(ctx)
	if !ok {
		return false
	}
	for sn, sent := byte(1), 0; len(rest) > 0; sn++ {
		if sent > 0 && sent == block {
			if block, separation, ok = p.awaitPermit(ctx); !ok {
				return false
			}
			sent = 0
		}
		if !elapse(ctx, max(separation, p.car.frameTime())) {
			return false
		}
		n := min(len(rest), 7)
		if !p.put(ctx, append([]byte{consecutiveFrame<<4 | sn&0x0F}, rest[:n]...)) {
			return false
		}
		rest = rest[n:]
		sent++
	}
	return true
}

// awaitPermit waits for flow control. A new request to this module ends the answer and is served next.
func (p *port) awaitPermit(ctx context.Context) (block int, separation time.Duration, ok bool) {
	timer := time.NewTimer(nBs)
	defer timer.Stop()
	for waits := 0; waits <= mostWaits; {
		f, got := p.next(ctx, timer.C)
		if !got {
			return 0, 0, false
		}
		own := link.IDOf(f) == p.m.spec.Request
		switch {
		case f.Length == 0:
		case f.Data[0]>>4 == singleFrame || f.Data[0]>>4 == firstFrame:
			p.waiting = append(p.waiting, f)
			if own {
				return 0, 0, false
			}
		case f.Data[0]>>4 != flowControl || !own || f.Length < 3:
		case f.Data[0]&0x0F == clearToSend:
			return int(f.Data[1]), separationTime(f.Data[2]), true
		case f.Data[0]&0x0F == waitMore:
			waits++
			timer.Reset(nBs)
		default: // overflow, or a flow state that there isn't
			return 0, 0, false
		}
	}
	return 0, 0, false
}

// separationTime is the meaning of STmin: 00-7F in ms, F1-F9 in 100 µs; reserved values count as 127 ms (from memory
// of ISO 15765-2).
func separationTime(b byte) time.Duration {
	switch {
	case b <= 0x7F:
		return time.Duration(b) * time.Millisecond
	case b >= 0xF1 && b <= 0xF9:
		return time.Duration(b-0xF0) * 100 * time.Microsecond
	}
	return 127 * time.Millisecond
}

// frameTime is how long a full frame takes on the bus: 111 bits with 11-bit identifiers and some stuffing.
func (c *Car) frameTime() time.Duration { return 130 * time.Second / time.Duration(c.spec.BitRate) }

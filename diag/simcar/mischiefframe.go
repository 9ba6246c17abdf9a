package simcar

import (
	"bytes"
	"context"
	"io"
	"math/rand/v2"
	"time"

	"readback/diag/link"

	"go.einride.tech/can"
)

// late is a frame and how long it waits before it leaves.
type late struct {
	can.Frame
	after time.Duration
}

// frames is what leaves a module in place of one frame.
func (m *Mischief) frames(mod *module, f can.Frame) []late {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.play(mod.name)
	n := p.random.IntN
	out := []late{{f, 0}}
	prank := m.draw(p, m.rate/4, Torn|Late|Doubled|Interleaved|Oversized|WrongID)
	if prank&(Torn|WrongID) != 0 && f.Data[0]>>4 == firstFrame {
		m.garbled(mod.spec.Request) // what follows may fit behind another's beginning
	}
	switch prank {
	case Torn:
		if n(2) == 0 {
			return nil
		}
		out[0].Length = uint8(n(int(f.Length) + 1))
	case Late:
		out[0].after = time.Duration(n([]int{20, 900, 1200, 8000}[n(4)])) * time.Millisecond
	case Doubled:
		out = append(out, late{f, millis(n(3))})
	case Interleaved:
		out = m.between(p, mod, f)
	case Oversized:
		out = m.flood(p, mod, f)
	case WrongID:
		out[0].ID = uint32(n(0x800))
		out[0].IsExtended = false
		if n(2) == 0 {
			other := m.answers[n(len(m.answers))]
			out[0].ID, out[0].IsExtended = other.Value, other.Extended
		}
		m.wrongly(out[0].Frame)
	}
	return out
}

// wrongly notes that a frame that is not its module's leaves under a module's identifier: it may fit into a list there.
func (m *Mischief) wrongly(f can.Frame) {
	if request, ok := m.requests[link.IDOf(f)]; ok {
		m.garbled(request)
	}
}

// between puts another frame before or behind one, under the same identifier.
func (m *Mischief) between(p *prankster, mod *module, f can.Frame) []late {
	other := noise(p.random)
	other.ID, other.IsExtended = f.ID, f.IsExtended
	switch p.random.IntN(5) {
	case 0: // a whole message
		copy(other.Data[:], []byte{3, 0x7F, byte(p.random.Uint32()), []byte{nrcPending, nrcBusy, 0x22, 0x33}[p.random.IntN(4)]})
	case 1: // a long one begins
		other.Data[0] = firstFrame<<4 | byte(p.random.IntN(16))
		m.garbled(mod.spec.Request) // what follows may fit behind it
	case 2: // a part of one
		other.Data[0] = consecutiveFrame<<4 | byte(p.random.IntN(16))
		m.garbled(mod.spec.Request) // it may fit where it comes
	case 3: // flow control that nobody needs
		other.Data[0] = flowControl<<4 | byte(p.random.IntN(16))
	case 4: // agreement
		copy(other.Data[:], []byte{1, 0x54})
	}
	if p.random.IntN(2) == 0 {
		return []late{{other, 0}, {f, 0}}
	}
	return []late{{f, 0}, {other, 0}}
}

// flood is a frame and many more, or one that announces more than anybody can send.
func (m *Mischief) flood(p *prankster, mod *module, f can.Frame) []late {
	m.garbled(mod.spec.Request)
	if p.random.IntN(2) == 0 {
		huge := f
		huge.Length = can.MaxDataLength
		copy(huge.Data[:], []byte{firstFrame << 4, 0, 0xFF, 0xFF, 0xFF, 0xFF})
		return []late{{huge, 0}, {f, millis(p.random.IntN(5))}}
	}
	out := []late{{f, 0}}
	for range p.random.IntN(300) {
		other := noise(p.random)
		other.ID, other.IsExtended = f.ID, f.IsExtended
		out = append(out, late{other, 0})
	}
	return out
}

func noise(r *rand.Rand) can.Frame {
	f := can.Frame{Length: uint8(r.IntN(can.MaxDataLength + 1))}
	for i := range f.Data {
		f.Data[i] = byte(r.Uint32())
	}
	return f
}

// line is a serial line on which bytes go wrong.
type line struct {
	io.ReadWriteCloser
	ctx context.Context
	m   *Mischief
	old []byte
}

// strays are what an adapter or a bad cable puts between other bytes.
var strays = []string{"\r", ">", "\r>", "?\r", "STOPPED\r", "CAN ERROR\r", "BUFFER FULL\r", "NO DATA\r", "<RX ERROR\r", "LV RESET\r",
	"ACT ALERT\r", "ERR94\r", "OK\r", "\x00\x00", "\xFF", "SEARCHING...", "ELM327 v2.2\r\r>", "7E8 03 7F 01 78 \r", "7E8037F0178\r"}

// Write sends b with what goes wrong on the way.
func (l *line) Write(b []byte) (int, error) {
	out, wait := l.m.bytes(l, b)
	if wait > 0 && !elapse(l.ctx, wait) {
		return 0, l.ctx.Err()
	}
	if len(out) > 0 {
		if _, err := l.ReadWriteCloser.Write(out); err != nil {
			return 0, err
		}
	}
	return len(b), nil
}

// blurred notes that digits of a line are lost or altered. The line has no checksum: where the filling behind the data takes
// the place of what is lost, nobody can tell. On such a line one request is in the air at a time: it concerns the answer to
// the last one or, where it stands in the echo, to the one that comes next.
func (m *Mischief) blurred(digits []byte) {
	if len(bytes.Trim(digits, "0123456789ABCDEF")) == len(digits) {
		return
	}
	m.smudged = true
	if n := len(m.asked); n > 0 {
		m.asked[n-1].Garbled = true
	}
}

// bytes is what leaves in place of b, and how long it waits before.
func (m *Mischief) bytes(l *line, b []byte) (out []byte, wait time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.play("line")
	n := p.random.IntN
	out = append(out, b...)
	switch m.draw(p, m.rate/8, AllPranks&^WrongID) {
	case Torn:
		i := n(len(out))
		to := min(len(out), i+1+n(4))
		m.blurred(out[i:to])
		out = append(out[:i], out[to:]...)
	case Late:
		wait = time.Duration(n([]int{50, 1000, 15000}[n(3)])) * time.Millisecond
	case Doubled:
		out = append(out, out...)
	case Interleaved:
		i := n(len(out))
		out = append(append(append([]byte{}, out[:i]...), strays[n(len(strays))]...), out[i:]...)
	case Oversized:
		for range n(6000) {
			out = append(out, "0123456789ABCDEF \r"[n(17+n(2))])
		}
	case Replayed:
		m.blurred(l.old) // a part of another message may fit in with its number
		out = append(out, l.old...)
	case Lying:
		i := n(len(out))
		m.blurred(out[i : i+1])
		out[i] = byte(p.random.Uint32())
	}
	l.old = append(l.old, b...)
	l.old = l.old[max(0, len(l.old)-64):]
	return out, wait
}

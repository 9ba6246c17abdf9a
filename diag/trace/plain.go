package trace

import (
	"bufio"
	"encoding/binary"
	"time"

	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"

	"readback/diag/bus"
)

// plain reads the blocks that nearly all of a recording consists of: enhanced packets (draft-ietf-opsawg-pcapng, 4.3) of link
// type 227, with no option but the flags, in files whose numbers have their least significant byte first. Whatever is
// otherwise is left to the library, from which it learns the interfaces.
type plain struct {
	off    bool
	window []byte // read ahead, not yet taken from the file
	at     int    // how much of it has been used
	ticks  []tick // of each interface
}

// tick is the resolution of an interface's times: how many in a second, and the nanoseconds of one. None in a second stand
// for an interface that is not plain.
type tick struct{ second, nanos uint64 }

const (
	packetBlock   = 6
	packetHead    = 28 // type and length of the block, interface, time in two halves, length here and on the wire
	blockTail     = 4  // the length again
	longestBlock  = packetHead + (maxPacket+3)&^3 + flagsOption + endOption + blockTail
	flagsOption   = 8 // with its head
	endOption     = 4
	flagsCode     = 2 | 4<<16 // epb_flags and its length, as one number
	directionMask = 3
	outbound      = 2
)

// begin looks at the section header block that a file begins with.
func (p *plain) begin(head []byte) {
	le := binary.LittleEndian
	p.off = len(head) < 16 || le.Uint32(head[8:]) != 0x1A2B3C4D || le.Uint32(head[12:]) != 1 // version 1.0
}

// learn looks at the interfaces that the library has met.
func (p *plain) learn(ng *pcapgo.NgReader) {
	for i := len(p.ticks); i < ng.NInterfaces(); i++ {
		var t tick
		if x, err := ng.Interface(i); err == nil && x.LinkType == layers.LinkType(LinkType) && x.TimestampOffset == 0 {
			switch x.TimestampResolution {
			case 6:
				t = tick{1e6, 1000}
			case 9:
				t = tick{1e9, 1}
			}
		}
		p.ticks = append(p.ticks, t)
	}
}

// ahead is what stands next in the file, n bytes or more unless it ends before.
func (p *plain) ahead(in *bufio.Reader, n int) []byte {
	if b := p.window[p.at:]; len(b) >= n {
		return b
	}
	p.release(in)
	_, _ = in.Peek(n) // an error comes again when the library reads
	p.window, _ = in.Peek(in.Buffered())
	return p.window
}

// release takes from the file what has been used.
func (p *plain) release(in *bufio.Reader) {
	_, _ = in.Discard(p.at) // it is in the buffer
	p.window, p.at = nil, 0
}

// read reads the next block if it is a plain one.
func (p *plain) read(r *Reader, e *Entry, c *carried) bool {
	if p.off || r.n == MaxPackets {
		return false
	}
	le := binary.LittleEndian
	b := p.ahead(r.in, longestBlock)
	if len(b) < packetHead+blockTail || le.Uint32(b) != packetBlock {
		return false
	}
	size, port, length := le.Uint32(b[4:]), le.Uint32(b[8:]), le.Uint32(b[20:])
	if size > longestBlock || int(size) > len(b) || length > maxPacket || uint64(port) >= uint64(len(p.ticks)) || p.ticks[port].second == 0 {
		return false
	}
	end := packetHead + (length+3)&^3
	direction := bus.In
	switch size - end {
	case blockTail:
	case flagsOption + blockTail, flagsOption + endOption + blockTail:
		if le.Uint32(b[end:]) != flagsCode || size-end > flagsOption+blockTail && le.Uint32(b[end+flagsOption:]) != 0 {
			return false
		}
		if le.Uint32(b[end+4:])&directionMask == outbound {
			direction = bus.Out
		}
	default:
		return false
	}
	if parsePacket(b[packetHead:packetHead+length], e, c) != nil {
		return false
	}
	at, t := uint64(le.Uint32(b[12:]))<<32|uint64(le.Uint32(b[16:])), p.ticks[port]
	e.At, e.Direction = time.Unix(int64(at/t.second), int64(at%t.second*t.nanos)).UTC(), direction
	p.at += int(size)
	r.n++
	return true
}

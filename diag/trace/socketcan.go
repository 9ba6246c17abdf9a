package trace

import (
	"bytes"
	"encoding/binary"
	"fmt"

	"go.einride.tech/can"

	"readback/diag/link"
)

// LinkType is LINKTYPE_CAN_SOCKETCAN, tcpdump.org "Link-layer header types": a four-byte identifier with flags, most
// significant byte first; a length byte; a byte of flags for CAN FD; two reserved bytes; the data.
const LinkType = 227

// Flags beside the identifier.
const (
	flagExtended = 0x80000000 // 29-bit identifier
	flagRemote   = 0x40000000 // remote transmission request
	flagError    = 0x20000000 // not a frame: a report of the controller
)

const (
	flagFD     = 0x04 // in the byte behind the length: a CAN FD frame
	headerSize = 8
	maxPacket  = headerSize + 64 // the longest CAN FD frame
)

// appendPacket appends f as a packet of link type 227.
func appendPacket(b []byte, f can.Frame) []byte {
	id := f.ID & can.MaxExtendedID
	if f.IsExtended {
		id |= flagExtended
	}
	if f.IsRemote {
		id |= flagRemote
	}
	n := min(f.Length, can.MaxDataLength)
	b = binary.BigEndian.AppendUint32(b, id)
	b = append(b, n, 0, 0, 0)
	if f.IsRemote {
		return b // a remote frame has a length and no data
	}
	return append(b, f.Data[:n]...)
}

// carried is what an entry of one frame points at.
type carried struct {
	frame [1]can.Frame
	data  can.Data
}

// slab hands out what entries point at, many at a time.
type slab struct{ left []carried }

const slabSize = 256

func (s *slab) next() *carried {
	if len(s.left) == 0 {
		s.left = make([]carried, slabSize)
	}
	c := &s.left[0]
	s.left = s.left[1:]
	return c
}

// parsePacket reads a packet of link type 227, whose bytes it does not keep, into e, and into c what e points at. What is
// not a classical frame becomes a trouble that keeps a copy of its bytes.
func parsePacket(b []byte, e *Entry, c *carried) error {
	if len(b) < headerSize {
		return fmt.Errorf("a packet of %d bytes is too short for a CAN frame (8 bytes of header)", len(b))
	}
	if len(b) > maxPacket {
		return fmt.Errorf("a packet of %d bytes is too long for a CAN frame (%d bytes at most)", len(b), maxPacket)
	}
	word, n, fd, data := binary.BigEndian.Uint32(b), int(b[4]), b[5]&flagFD != 0, b[headerSize:]
	*e = Entry{Level: Frame}
	if word&flagExtended != 0 {
		e.ID = link.ID29(word)
	} else {
		e.ID = link.ID11(word)
	}
	switch {
	case word&flagError != 0:
		*e = Entry{Level: Trouble, Data: bytes.Clone(data), Text: fmt.Sprintf("the controller reported trouble (class %08X)", word&can.MaxExtendedID)}
		return nil
	case word&flagExtended == 0 && word&can.MaxExtendedID > can.MaxID:
		return fmt.Errorf("identifier %X has more than 11 bits and is not marked as 29-bit", word&can.MaxExtendedID)
	case fd || n > can.MaxDataLength:
		e.Level, e.Data, e.Text = Trouble, bytes.Clone(data), fmt.Sprintf("a CAN FD frame with %d bytes, which this program does not read", n)
		return nil
	case word&flagRemote != 0:
		c.frame[0] = can.Frame{ID: e.ID.Value, IsExtended: e.ID.Extended, IsRemote: true, Length: uint8(n)}
		e.Frames = c.frame[:]
		return nil
	case len(data) < n:
		return fmt.Errorf("a frame announces %d bytes and holds %d", n, len(data))
	}
	c.frame[0] = can.Frame{ID: e.ID.Value, IsExtended: e.ID.Extended, Length: uint8(n)}
	copy(c.frame[0].Data[:], data[:n])
	c.data = c.frame[0].Data
	e.Data, e.Frames = c.data[:n:n], c.frame[:]
	return nil
}

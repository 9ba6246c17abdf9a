package explain

// kind of a frame after ISO 15765-2.
type kind uint8

const (
	broken kind = iota // no kind that the standard has, or a length that can't be
	single
	first
	following // consecutive frame
	flow
)

const whyLong = "It does not fit into one frame. Reads and clears never need more."

// transport is the data field of a frame, read after ISO 15765-2.
type transport struct {
	kind    kind
	why     wording // why it is not a request that may go out; "" for a sound single frame
	skip    int     // address bytes before the transport bytes
	pci     int     // transport bytes
	count   int     // payload bytes announced
	payload []byte  // what of it is in this frame
	rest    []byte  // bytes after the payload
}

// split reads the transport bytes. skip is 1 for extended and mixed addressing.
func split(data []byte, skip int) transport {
	t := transport{skip: skip}
	switch {
	case len(data) <= skip:
		t.why = worded("The frame is empty.")
		return t
	case len(data) > 8:
		t.why = worded("A classical CAN frame has no more than 8 bytes.")
		t.skip, t.rest = 0, data
		return t
	}
	d := data[skip:]
	n := int(d[0] & 0x0F)
	switch d[0] >> 4 {
	case 0:
		t.pci, t.count = 1, n
		switch {
		case n == 0:
			t.why = worded("Its counting byte is 00: an empty message.")
		case n > 7-skip:
			t.why = worded("Its counting byte says %d. One frame has room for %d.", n, 7-skip)
		case n > len(d)-1:
			t.why = worded("Its counting byte says %d, but only %d follow.", n, len(d)-1)
		default:
			t.kind = single
			t.payload, t.rest = d[1:1+n], d[1+n:]
			return t
		}
		t.rest = d[1:]
	case 1:
		t.kind, t.why, t.pci = first, worded("It is the first page of a long message. Reads and clears never need one."), min(2, len(d))
		if len(d) > 1 {
			t.count = n<<8 | int(d[1])
		}
		if t.count == 0 && len(d) >= 6 {
			t.pci, t.count = 6, int(d[2])<<24|int(d[3])<<16|int(d[4])<<8|int(d[5])
		}
		t.payload = d[t.pci:]
	case 2:
		t.kind, t.why, t.pci = following, worded("It is a later page of a long message. Reads and clears never need one."), 1
		t.count, t.payload = n, d[1:]
	case 3:
		t.kind, t.why, t.pci = flow, worded("It is a flow control frame. The program sends its own."), min(3, len(d))
		t.rest = d[t.pci:]
	default:
		t.why, t.pci = worded("Its first byte begins with a digit that no kind of frame has."), 1
		t.rest = d[1:]
	}
	return t
}

package isotp

import (
	"cmp"
	"slices"

	"readback/diag/link"
)

// Padding is what fills frames up to 8 bytes (clause 10.4.2). The zero value is 55; 01-FF are the byte itself.
type Padding uint16

const (
	// PadZero is the byte 00.
	PadZero Padding = 0x100
	// PadLearnt is the byte that the module addressed fills its own frames with; while none of its frames has shown
	// that, the one that most modules on this bus use; else 55. Some modules take only frames that are filled as they
	// fill theirs.
	PadLearnt Padding = 0x200
)

// DefaultPad fills where nothing tells of another byte (common practice).
const DefaultPad = 0x55

// Filling is what a module was seen to fill its frames with.
type Filling struct {
	Address link.Address
	Byte    byte
	Seen    int // how many bytes have shown it
}

// tally counts filling bytes of one module. Now and then a module fills with what its buffer held before: the byte
// seen most counts.
type tally struct {
	address link.Address
	counts  []Filling // one for each byte value seen
}

// most is what the module fills with; Seen is 0 when nothing is known.
func (t *tally) most() (f Filling) {
	if t == nil {
		return f
	}
	for _, c := range t.counts {
		if c.Seen > f.Seen {
			f = c
		}
	}
	f.Address = t.address
	return f
}

func (t *tally) count(b byte, n int) {
	i := slices.IndexFunc(t.counts, func(f Filling) bool { return f.Byte == b })
	if i < 0 {
		i = len(t.counts)
		t.counts = append(t.counts, Filling{Byte: b})
	}
	t.counts[i].Seen += n
}

// learn takes note of the bytes behind the payload of a frame. Bytes that differ are left-overs and tell nothing.
func (l *Link) learn(a link.Address, filling []byte) {
	if len(filling) == 0 || slices.ContainsFunc(filling, func(b byte) bool { return b != filling[0] }) {
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	k := answerKeyOf(a)
	t := l.fillings[k]
	if t == nil {
		t = &tally{}
		l.fillings[k] = t
	}
	t.address = a
	t.count(filling[0], len(filling))
}

// Fillings is what the modules heard so far fill their frames with, one entry a module, in the order of their answer
// identifiers. Modules whose frames were all full or short are missing.
func (l *Link) Fillings() []Filling {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := make([]Filling, 0, len(l.fillings))
	for _, t := range l.fillings {
		out = append(out, t.most())
	}
	slices.SortFunc(out, func(a, b Filling) int {
		return cmp.Or(
			cmp.Compare(a.Address.Answer.String(), b.Address.Answer.String()), cmp.Compare(a.Address.Source, b.Address.Source))
	})
	return out
}

// Pad is the byte that fills frames to a now.
func (l *Link) Pad(a link.Address) byte {
	switch l.o.Pad {
	case 0:
		return DefaultPad
	case PadLearnt:
	default:
		return byte(l.o.Pad)
	}
	if a.Answer.IsZero() {
		a.Answer, _ = link.DefaultAnswer(a.Request)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if f := l.fillings[answerKeyOf(a)].most(); f.Seen > 0 {
		return f.Byte
	}
	return l.common()
}

// common is the byte that most modules fill with, the lowest of several. It is called with mu held.
func (l *Link) common() byte {
	var modules [256]int
	for _, t := range l.fillings {
		modules[t.most().Byte]++
	}
	best, at := 0, byte(DefaultPad)
	for b, n := range modules {
		if n > best {
			best, at = n, byte(b)
		}
	}
	return at
}

package explain

import (
	"fmt"
	"slices"

	"readback/diag/link"
)

// who is what an identifier says about sender and receiver.
type who struct {
	class      Class  // Never, or Look: nothing against it
	refused    string // why not, with a place for the identifier; "" when nothing is against it
	why        string // the same in words
	functional bool
	answer     bool // modules answer on it
	standard   bool // ISO 15765-4 names it
	known      bool // it is a request identifier of a module of this car, or a functional one
	module     *Module
	reply      link.ID // where the answer comes, zero when not known
	skip       int     // address bytes before the transport byte (extended and mixed addressing)
}

// older reports a module that is known to speak ISO 14230-3.
func (w who) older() bool { return w.module != nil && w.module.Protocol == "KWP" }

// whoIs judges an identifier. data is the frame's data field, which tells modules that share an identifier apart.
func whoIs(id link.ID, data []byte, o Options) who {
	w := identify(id, data, &o)
	if w.refused != "" {
		w.why = fmt.Sprintf(w.refused, id)
	}
	return w
}

// identify is whoIs without the words of its reason: it is asked about every frame of a recording.
func identify(id link.ID, data []byte, o *Options) who {
	w := who{class: Look}
	shared := false // modules share the identifier, and none of them is meant
	for i := range o.Modules {
		m := &o.Modules[i]
		a := m.Address
		extra := a.Headed()
		switch {
		case id.IsZero():
		case a.Request == id && (!extra || len(data) == 0 || data[0] == a.Target):
			w.known, w.module, w.reply, w.functional = true, m, a.Answer, a.Functional
			if extra {
				w.skip = 1
			}
		case a.Request == id:
			shared = true
		case a.Answer == id:
			w.answer = true
			if extra {
				w.skip = 1
			}
			if w.module == nil && (!extra || len(data) == 0 || data[0] == a.Source) {
				w.module = m
			}
		}
	}
	if shared && !w.known {
		w.skip = 1
	}
	if w.reply.IsZero() {
		w.reply, _ = link.DefaultAnswer(id)
	}
	heard := slices.Contains(o.Heard, id)
	if _, ok := link.DefaultRequest(id); ok || heard {
		w.answer = true
	}
	switch {
	case heard:
		w.refuse("The car itself sends on %s. Two senders on one identifier disturb the car.")
	case w.answer:
		w.refuse("%s is an identifier that modules answer on. Two senders on one identifier disturb the car.")
	case id.Extended:
		w.wide(id)
	default:
		w.narrow(id)
	}
	if w.class != Never && shared && !w.known {
		w.refuse("No module of this car is known at %s with this address byte.")
	}
	if w.class != Never && !w.known && !w.standard && len(o.Modules) > 0 {
		w.refuse("No module of this car is known to listen at %s.")
	}
	return w
}

func (w *who) refuse(format string) { w.class, w.refused = Never, format }

func (w *who) narrow(id link.ID) {
	switch v := id.Value; {
	case v == 0x7DF:
		w.functional, w.standard, w.known = true, true, true
	case v >= 0x7E0 && v <= 0x7E7:
		w.standard = true
	case v > 0x7FF:
		w.refuse("%s does not fit in 11 bits.")
	case v < 0x700:
		w.refuse("%s is an identifier of the running car. Sending on it pretends to be a module.")
	}
}

// wide: 18DAttF1 asks one module, 18DBttF1 a group (ISO 15765-2 normal fixed addressing, tester F1).
func (w *who) wide(id link.ID) {
	target := byte(id.Value >> 8)
	switch {
	case w.known:
	case id.Value&^0xFF00 == 0x18DA00F1 && target != 0xF1:
		w.standard = true
	case id.Value&^0xFF00 == 0x18DB00F1:
		w.functional, w.standard, w.known = true, true, true
	case id.Value>>16 == 0x18DA, id.Value>>16 == 0x18DB:
		w.refuse("%s is not for a tester: its last two digits are not F1.")
	default:
		w.refuse("%s is not an identifier for requests (18DA..F1 or 18DB33F1).")
	}
}

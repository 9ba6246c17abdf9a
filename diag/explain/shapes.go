package explain

import "fmt"

// form is one request payload read against the layouts.
type form struct {
	service  *service // nil when no standard has it
	layout   *layout  // nil when the payload fits none
	complete bool     // every byte is understood and none is missing
	problem  wording  // what is wrong when not complete, a sentence
}

// wording is a text with places for numbers. It is put together only when somebody reads it: a recording has a million
// frames.
type wording struct {
	text    string
	numbers [3]int
	n       int
	tail    string
}

func worded(text string, numbers ...int) wording {
	w := wording{text: text}
	w.n = copy(w.numbers[:], numbers)
	return w
}

func (w wording) String() string {
	switch w.n {
	case 1:
		return fmt.Sprintf(w.text, w.numbers[0]) + w.tail
	case 2:
		return fmt.Sprintf(w.text, w.numbers[0], w.numbers[1]) + w.tail
	case 3:
		return fmt.Sprintf(w.text, w.numbers[0], w.numbers[1], w.numbers[2]) + w.tail
	}
	return w.text + w.tail
}

// sub returns the sub-function without bit 0x80, and whether there is one.
func (f form) sub(p []byte) (byte, bool) {
	if f.service == nil || !f.service.sub || len(p) < 2 {
		return 0, false
	}
	return p[1] & 0x7F, true
}

// silent reports the bit that asks the module not to answer.
func (f form) silent(p []byte) bool {
	return f.service != nil && f.service.sub && len(p) >= 2 && p[1]&0x80 != 0
}

// readForm finds the layout of a request payload.
func readForm(p []byte) form {
	if len(p) == 0 {
		return form{problem: worded("There is no request in it.")}
	}
	return readAs(p, serviceOf(p[0]), layouts[p[0]])
}

// readAs reads a payload, which is not empty, as a request of one service that has these layouts.
func readAs(p []byte, s *service, layouts []layout) form {
	if s == nil {
		return form{problem: worded("No standard has a request %02X.", int(p[0]))}
	}
	f := form{service: s}
	if s.sub && len(p) < 2 {
		f.problem = worded("After %02X a byte is missing that says what exactly.", int(s.id))
		return f
	}
	known := false
	for i := range layouts {
		l := &layouts[i]
		if l.sub >= 0 && l.sub != int(p[1]&0x7F) {
			continue
		}
		known = true
		if l.fits(p) {
			f.layout, f.complete = l, true
			return f
		}
		if f.layout == nil {
			f.layout = l
		}
	}
	switch {
	case !known && s.sub:
		f.problem = worded("The standard has no meaning for %02X %02X.", int(p[0]), int(p[1]))
	case !known:
		f.problem = worded("What follows %02X is not known.", int(p[0]))
	default:
		want, _ := f.layout.length()
		switch {
		case len(p) < want:
			f.problem = worded("Bytes are missing: %02X needs %d, here are %d.", int(p[0]), want, len(p))
		case len(p) > want:
			f.problem = worded("There are bytes too many: %02X needs %d, here are %d.", int(p[0]), want, len(p))
		default:
			f.problem = worded("The bytes after %02X do not fit together.", int(p[0]))
		}
		f.layout = nil
	}
	return f
}

// head is how many bytes come before the parameters.
func (l *layout) head() int {
	if l.sub == none {
		return 1
	}
	return 2
}

// length is the shortest payload of this form; open tells that it may be longer.
func (l *layout) length() (n int, open bool) {
	n = l.head()
	for _, p := range l.parts {
		switch p.n {
		case tail:
			open = true
		case some:
			n, open = n+1, true
		default:
			n += p.n
		}
	}
	return n, open || l.repeat > 1
}

// ends reports a form whose last part is a run of that kind.
func (l *layout) ends(run int) bool { return len(l.parts) > 0 && l.parts[len(l.parts)-1].n == run }

func (l *layout) fits(p []byte) bool {
	n, open := l.length()
	switch {
	case len(p) < n:
		return false
	case l.repeat > 1:
		step := l.parts[len(l.parts)-1].n
		if (len(p)-n)%step != 0 || (len(p)-n)/step+1 > l.repeat {
			return false
		}
	case !open && len(p) != n:
		return false
	}
	return l.valid == nil || l.valid(p)
}

// supportOrOne: several numbers at once may be asked only of the lists of what is supported (SAE J1979 for CAN).
func supportOrOne(p []byte) bool {
	if len(p) == 2 {
		return true
	}
	for _, b := range p[1:] {
		if b&0x1F != 0 {
			return false
		}
	}
	return true
}

// sizedMemory: the byte after the service tells how long address and size are (ISO 14229-1, addressAndLengthFormat).
func sizedMemory(p []byte) bool { return sized(p[1:]) }

func sized(p []byte) bool {
	if len(p) == 0 {
		return false
	}
	address, size := int(p[0]&0x0F), int(p[0]>>4)
	return address > 0 && size > 0 && len(p) == 1+address+size
}

func sizedList(p []byte) bool   { return sized(p[4:]) }
func multipleOf4(p []byte) bool { return (len(p)-4)%4 == 0 }

// plainMessages: bits 2 and 3 of the communication type are reserved, and 0 in the lowest two names nothing.
func plainMessages(p []byte) bool { return p[2]&0x0C == 0 && p[2]&0x03 != 0 }

func everyGroup(p []byte) bool { return p[2] == 0xFF && p[3] == 0xFF && p[4] == 0xFF }

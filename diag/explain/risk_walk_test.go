package explain

import (
	"fmt"
	"strings"
	"testing"

	"readback/diag/link"
)

// kindOfIdentifier is a kind of identifier after ISO 15765-4, or of what a car's profile and its own messages add.
type kindOfIdentifier struct {
	name       string
	id         link.ID
	asks       bool // requests may go to it
	functional bool
	skip       int // address bytes before the transport byte
	first      byte
}

func kindsOfIdentifier() ([]kindOfIdentifier, Options) {
	profile := link.Physical(link.ID11(0x745), link.ID11(0x74D))
	mixed := link.Address{Mode: link.Mixed, Request: link.ID11(0x750), Answer: link.ID11(0x758), Target: 0x40, Source: 0x40}
	group := link.Address{Request: link.ID11(0x720), Functional: true}
	o := Options{Heard: []link.ID{link.ID11(0x7E3), link.ID29(0x18DA20F1), link.ID11(0x765)},
		Modules: []Module{{Name: "A", Address: profile}, {Name: "B", Address: mixed}, {Name: "C", Address: group, Codes: -1}}}
	return []kindOfIdentifier{
		{"functional, 11 bits", link.ID11(0x7DF), true, true, 0, 0},
		{"functional, 29 bits", link.ID29(0x18DB33F1), true, true, 0, 0},
		{"functional, of the profile", link.ID11(0x720), true, true, 0, 0},
		{"physical, 11 bits", link.ID11(0x7E0), true, false, 0, 0},
		{"physical, 29 bits", link.ID29(0x18DA10F1), true, false, 0, 0},
		{"physical, of the profile", link.ID11(0x745), true, false, 0, 0},
		{"physical, mixed addressing", link.ID11(0x750), true, false, 1, 0x40},
		{"mixed addressing, nobody there", link.ID11(0x750), false, false, 1, 0x41},
		{"of no module of the profile", link.ID11(0x746), false, false, 0, 0},
		{"answer, 11 bits", link.ID11(0x7E8), false, false, 0, 0},
		{"answer, 29 bits", link.ID29(0x18DAF110), false, false, 0, 0},
		{"answer, of the profile", link.ID11(0x74D), false, false, 0, 0},
		{"heard from the car, 11 bits", link.ID11(0x7E3), false, false, 0, 0},
		{"heard from the car, 29 bits", link.ID29(0x18DA20F1), false, false, 0, 0},
		{"heard from the car, of no pair", link.ID11(0x765), false, false, 0, 0},
		{"below 700", link.ID11(0x6FF), false, false, 0, 0},
		{"lowest", link.ID11(0x000), false, false, 0, 0},
		{"not diagnostic, 29 bits", link.ID29(0x0CF00400), false, false, 0, 0},
		{"29 bits of a number below 7FF", link.ID29(0x7E0), false, false, 0, 0},
		{"not of a tester", link.ID29(0x18DA10F2), false, false, 0, 0},
	}, o
}

// kindsOfFrame make every kind of frame of ISO 15765-2 of a payload, sound and malformed. Only the first two may go out.
var kindsOfFrame = []struct {
	name  string
	sound bool
	make  func(p []byte, room int) []byte
}{
	{"single, filled", true, func(p []byte, room int) []byte {
		return append(append([]byte{byte(len(p))}, p...), make([]byte, room-len(p))...)
	}},
	{"single, short", true, func(p []byte, _ int) []byte { return append([]byte{byte(len(p))}, p...) }},
	{"first", false, func(p []byte, room int) []byte { return append([]byte{0x10, 0x14}, p[:min(len(p), room-1)]...) }},
	{"first, longer than 4095", false, func(p []byte, _ int) []byte { return append([]byte{0x10, 0, 0, 0, 0x20, 0}, p[:1]...) }},
	{"consecutive", false, func(p []byte, _ int) []byte { return append([]byte{0x21}, p...) }},
	{"flow control", false, func(p []byte, _ int) []byte { return append([]byte{0x30}, p[:min(len(p), 2)]...) }},
	{"counting byte 0", false, func(p []byte, _ int) []byte { return append([]byte{0x00}, p...) }},
	{"counting byte too big", false, func(p []byte, room int) []byte { return append([]byte{byte(room + 1)}, p...) }},
	{"counting byte beyond the end", false, func(p []byte, _ int) []byte { return append([]byte{byte(len(p) + 1)}, p...) }},
	{"no kind of frame", false, func(p []byte, _ int) []byte { return append([]byte{0x47}, p...) }},
	{"no counting byte", false, func(p []byte, _ int) []byte { return append([]byte{0xF0 | p[0]>>4}, p...) }},
	{"empty", false, func([]byte, int) []byte { return nil }},
	{"nine bytes", false, func(p []byte, room int) []byte {
		return append(append([]byte{byte(len(p))}, p...), make([]byte, room+1-len(p))...)
	}},
}

// Every service byte with every second byte, every length, on every kind of identifier, in every kind of frame: each has a
// class and a reason, and both are those of the table in risk_test.go. What goes anywhere but to an identifier for
// requests, or in anything but a single frame, is refused.
func TestRiskWithoutAHole(t *testing.T) {
	lines := riskLines(t)
	kinds, o := kindsOfIdentifier()
	bad, walked := 0, 0
	check := func(k kindOfIdentifier, frame int, p []byte, want Class, phrase string) {
		f := kindsOfFrame[frame]
		data := f.make(p, 7-k.skip)
		if k.skip > 0 && frame != len(kindsOfFrame)-2 {
			data = append([]byte{k.first}, data...)
		}
		walked++
		class, why := Classify(k.id, data, o)
		if (class != want || why == "" || !strings.Contains(why, phrase)) && bad < 20 {
			bad++
			t.Errorf("%s, %s: %s % X: %s (%s), want %s (%s)", k.name, f.name, k.id, data, class, why, want, phrase)
		}
		b := SummaryFrame(k.id, data, o)
		if b.Class != class && bad < 20 {
			bad++
			t.Errorf("%s, %s: %s % X: %s, its short form says %s", k.name, f.name, k.id, data, class, b.Class)
		}
	}
	tail := []byte{0xF1, 0x90, 0xFF, 0xFF, 0xFF}
	p := make([]byte, 0, 7)
	for s := range 256 {
		for sub := range 256 {
			for n := 0; n <= len(tail); n++ {
				p = append(append(p[:0], byte(s), byte(sub)), tail[:n]...)
				one, onePhrase := wanted(lines, p, false)
				all, allPhrase := wanted(lines, p, true)
				for i, k := range kinds {
					if len(p) > 7-k.skip {
						continue
					}
					want, phrase := one, onePhrase
					if k.functional {
						want, phrase = all, allPhrase
					}
					switch {
					case !k.asks && n == 2:
						check(k, 0, p, Never, "")
					case k.asks && (i == 0 || i == 3 || k.skip > 0 || n == 1 || n == 3):
						check(k, n%2, p, want, phrase)
					}
					if n == 2 && sub%16 == 3 {
						for frame, f := range kindsOfFrame {
							if !f.sound {
								check(k, frame, p, Never, "")
							}
						}
					}
				}
			}
		}
	}
	if walked < 2_000_000 {
		t.Errorf("only %d frames walked", walked)
	}
}

// The request that would go out and the frames that carry one: what makes each kind of identifier and frame be refused is
// said, not only that it is.
func TestReasonsOfRefusedFrames(t *testing.T) {
	kinds, o := kindsOfIdentifier()
	for _, k := range kinds {
		data := []byte{0x03, 0x22, 0xF1, 0x90}
		if k.skip > 0 {
			data = append([]byte{k.first}, data...)
		}
		class, why := Classify(k.id, data, o)
		if k.asks != (class == Look) || !k.asks && !strings.Contains(why, k.id.String()) {
			t.Errorf("%s: %s (%s)", k.name, class, why)
		}
	}
	for i, want := range []string{"", "", "first page", "first page", "later page", "flow control", "counting byte is 00", "counting byte says 8", "only 3 follow",
		"no kind of frame has", "no kind of frame has", "empty", "no more than 8 bytes"} {
		class, why := Classify(link.ID11(0x7E0), kindsOfFrame[i].make([]byte{0x22, 0xF1, 0x90}, 7), Options{})
		if (want == "") != (class == Look) || !strings.Contains(why, want) {
			t.Errorf("%s: %s (%s)", kindsOfFrame[i].name, class, why)
		}
	}
}

// What the margin says of every service and sub-function: each request that is understood says what it can't do, each
// change says what is lost or that nothing is, and how sure that is.
func TestMarginOfEveryKind(t *testing.T) {
	met := map[Class]int{}
	each := func(p []byte) {
		e := ExplainMessage(link.Physical(link.ID11(0x7E0), link.ID11(0x7E8)), p, Options{})
		name := fmt.Sprintf("% X", p)
		if e.Sure == "" || e.Source == "" {
			t.Fatalf("%s: sure %q, source %q", name, e.Sure, e.Source)
		}
		s := serviceOf(p[0])
		if e.Direction != Request || s == nil {
			return
		}
		met[e.Class]++
		if len(e.Cannot) == 0 {
			t.Errorf("%s: nothing that it can't do", name)
		}
		if e.Class == Change && (p[0] == 0x14 || p[0] == 0x04) && len(e.Lost) < 2 {
			t.Errorf("%s: lost %q", name, e.Lost)
		}
		if e.Class == Look && len(e.Lost) > 0 {
			t.Errorf("%s: a look that loses %q", name, e.Lost)
		}
	}
	for first := range 256 {
		each([]byte{byte(first)})
		for second := range 256 {
			for _, n := range []int{0, 1, 4} {
				each(append([]byte{byte(first), byte(second)}, []byte{0x01, 0x90, 0xFF, 0x00}[:n]...))
			}
		}
	}
	for _, c := range []Class{Look, Change, Workshop, Never} {
		if met[c] == 0 {
			t.Errorf("no request of class %s", c)
		}
	}
	for _, s := range services {
		if s.id != 0x14 && s.id != 0x04 && marginOf(s.id, 1) == nil && marginOf(s.id, 0) == nil {
			t.Errorf("%02X has no row", s.id)
		}
	}
	for _, m := range margins {
		if serviceOf(m.id) == nil || len(m.cannot) == 0 {
			t.Errorf("%+v", m)
		}
	}
}

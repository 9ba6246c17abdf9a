package explain

import (
	"bufio"
	"strconv"
	"strings"
	"testing"

	"readback/diag/link"
)

// riskTable is the table of risks written down a second time, apart from the program's: service, sub-function (bit 0x80
// masked off; * for services without one), payload lengths, class, and words of the reason. A request that fits no
// line is refused. The services, sub-functions and lengths are those of ISO 14229-1, SAE J1979 and ISO 14230-3; the
// classes are the project's own (no published source). Where 28 is concerned ISO 14229-1 decides which value is
// "enable": controlType 00 (enableRxAndTx).
const riskTable = `
01 *     2-7      look     in the car changes
02 *     3,5,7    look     stay in the car
03 *     1        look     stay in the car
04 *     1        change   erases
05 *     3        look     in the car changes
06 *     2-7      look     in the car changes
07 *     1        look     stay in the car
08 *     1-7      never    operates
09 *     2-7      look     in the car changes
0A *     1        look     stay in the car
10 01    2        look     back to normal
10 02    2-7      never    new software
10 03    2        change   workshop mode
10 04    2-7      never    airbags
10 40-7E 2        workshop maker's own
11 01-03 2        workshop restarts
11 04-05 2-7      never    shut down
12 *     3-5      look     stay in the car
13 *     1,3      look     stay in the car
14 *     3-5      change   erases
17 *     3        look     stay in the car
18 *     4        look     stay in the car
19 01-02 3        look     stay in the car
19 03    2        look     stay in the car
19 04    6        look     stay in the car
19 05    3        look     stay in the car
19 06    6        look     stay in the car
19 07-08 4        look     stay in the car
19 09    5        look     stay in the car
19 0A-0E 2        look     stay in the car
19 0F    3        look     stay in the car
19 10    6        look     stay in the car
19 11-13 3        look     stay in the car
19 14-15 2        look     stay in the car
19 16    3        look     stay in the car
19 17    4        look     stay in the car
19 18-19 7        look     stay in the car
19 1A    3        look     stay in the car
19 42    5        look     stay in the car
19 55    3        look     stay in the car
19 56    4        look     stay in the car
1A *     2        look     in the car changes
20 *     1        look     back to normal
21 *     2        change   no list
22 *     3,5,7    look     in the car changes
23 *     4-7      workshop raw memory
24 *     3        look     in the car changes
27 *     1-7      never    unlocking
28 00    3        change   talk again
28 01-05 2-7      never    ordinary messages
29 *     1-7      never    unlocking
2A *     2-7      workshop by itself
2C 01    7        never    read completely
2C 02    7        workshop leaves a list
2C 03    2,4      workshop leaves a list
2E *     1-7      never    writes
2F *     1-7      never    operates
30 *     1-7      never    operates
31 01-02 2-7      never    built-in job
31 03    4-7      workshop no use alone
32 *     1-7      never    built-in job
33 *     1-7      never    built-in job
34 *     1-7      never    software
35 *     1-7      never    software
36 *     1-7      never    software
37 *     1-7      never    software
38 *     1-7      never    software
3B *     1-7      never    writes
3D *     1-7      never    writes
3E 00    2        look     still here
26 *     1-7      never    by itself
39 *     1-7      never    built-in job
3A *     1-7      never    built-in job
81 *     1-7      never    old line
82 *     1-7      never    old line
83 *     1-7      never    deaf
84 *     1-7      never    locked envelope
85 01    2,5      change   store codes again
85 02    2-7      never    hides faults
86 *     1-7      never    by itself
87 *     1-7      never    speed of the line
`

type riskLine struct {
	from, to int
	lengths  map[int]bool
	class    Class
	phrase   string
}

func riskLines(t *testing.T) map[byte][]riskLine {
	t.Helper()
	out := map[byte][]riskLine{}
	s := bufio.NewScanner(strings.NewReader(riskTable))
	for s.Scan() {
		f := strings.Fields(s.Text())
		if len(f) == 0 {
			continue
		}
		l := riskLine{from: -1, lengths: map[int]bool{}, class: Class(f[3]), phrase: strings.Join(f[4:], " ")}
		if f[1] != "*" {
			l.from, l.to = span(t, f[1], 16)
		}
		for _, part := range strings.Split(f[2], ",") {
			lo, hi := span(t, part, 10)
			for n := lo; n <= hi; n++ {
				l.lengths[n] = true
			}
		}
		id, _ := strconv.ParseUint(f[0], 16, 8)
		out[byte(id)] = append(out[byte(id)], l)
	}
	if len(out) != 53 {
		t.Fatalf("the table names %d services, want 53", len(out))
	}
	return out
}

func span(t *testing.T, s string, base int) (lo, hi int) {
	a, b, ok := strings.Cut(s, "-")
	if !ok {
		b = a
	}
	x, err1 := strconv.ParseInt(a, base, 32)
	y, err2 := strconv.ParseInt(b, base, 32)
	if err1 != nil || err2 != nil {
		t.Fatalf("bad span %q", s)
	}
	return int(x), int(y)
}

// wanted is the class of a payload by riskTable and the conditions that lines can't hold.
func wanted(lines map[byte][]riskLine, p []byte, functional bool) (Class, string) {
	if p[0]&0x40 != 0 {
		return Never, "answer"
	}
	for _, l := range lines[p[0]] {
		if l.from >= 0 && (len(p) < 2 || int(p[1]&0x7F) < l.from || int(p[1]&0x7F) > l.to) {
			continue
		}
		if !l.lengths[len(p)] || !inside(p) {
			if l.class != Never {
				continue
			}
		}
		class, phrase := l.class, l.phrase
		if p[0] == 0x22 && !allListed(p[1:]) {
			class, phrase = Change, "no list"
		}
		switch {
		case class == Change && l.from >= 0 && p[1] >= 0x80:
			return Never, "not to answer"
		case class != Never && functional && (p[0] == 0x11 || p[0] == 0x28 || p[0] == 0x31 || p[0] == 0x85):
			return Never, "all modules at once"
		}
		return class, phrase
	}
	return Never, ""
}

// inside: conditions on the bytes after service and sub-function.
func inside(p []byte) bool {
	switch {
	case p[0] == 0x06 || p[0] == 0x09: // several only for lists of what is supported: 00 20 40 .. E0
		for _, b := range p[1:] {
			if len(p) > 2 && b%32 != 0 {
				return false
			}
		}
	case p[0] == 0x23: // high nibble: bytes of the size, low nibble: bytes of the address
		return p[1]>>4 > 0 && p[1]&15 > 0 && len(p) == 2+int(p[1]>>4)+int(p[1]&15)
	case p[0] == 0x28 && p[1]&0x7F == 0: // communicationType: bits 0-1 the kind, bits 2-3 reserved
		return len(p) == 3 && p[2]&15 >= 1 && p[2]&15 <= 3
	case p[0] == 0x2A: // slow, medium, fast with values; stop with or without
		return p[1] >= 1 && p[1] <= 3 && len(p) > 2 || p[1] == 4
	case p[0] == 0x2C && p[1]&0x7F == 2:
		return p[4]>>4 > 0 && p[4]&15 > 0 && len(p) == 5+int(p[4]>>4)+int(p[4]&15)
	case p[0] == 0x85 && p[1]&0x7F == 1 && len(p) == 5:
		return p[2] == 0xFF && p[3] == 0xFF && p[4] == 0xFF
	}
	return true
}

func allListed(b []byte) bool {
	for i := 0; i+1 < len(b); i += 2 {
		plate := b[i] == 0xF1 && b[i+1] >= 0x80 && b[i+1] <= 0x9F
		if !plate && b[i] != 0xF4 && b[i] != 0xF6 && b[i] != 0xF8 {
			return false
		}
	}
	return true
}

// eachPayload walks every service byte with every second byte and every length up to 7, with several tails.
func eachPayload(do func(p []byte)) {
	tails := [][]byte{{0x11, 0x11, 0x11, 0x11, 0x11}, {0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, {0x00, 0x20, 0x40, 0x60, 0x80},
		{0x90, 0xF1, 0x8C, 0xF4, 0x0C}, {0x01, 0x02, 0x03, 0x04, 0x05}, {0x90, 0x12, 0x11, 0x01, 0x01}}
	for s := 0; s < 256; s++ {
		do([]byte{byte(s)})
		for b := 0; b < 256; b++ {
			do([]byte{byte(s), byte(b)})
			for _, t := range tails {
				for n := 1; n <= 5; n++ {
					do(append([]byte{byte(s), byte(b)}, t[:n]...))
				}
			}
		}
	}
}

func TestRiskOfEveryPayload(t *testing.T) {
	lines := riskLines(t)
	counts := map[Class]int{}
	for _, id := range []struct {
		a          link.Address
		functional bool
	}{{link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), false}, {link.Functional11(), true}, {link.Functional29(), true}} {
		bad := 0
		eachPayload(func(p []byte) {
			got, why := ClassifyPayload(id.a, p)
			want, phrase := wanted(lines, p, id.functional)
			counts[got]++
			if (got != want || !strings.Contains(why, phrase) || why == "") && bad < 20 {
				bad++
				t.Errorf("%s % X: %s (%s), want %s (%s)", id.a, p, got, why, want, phrase)
			}
			data := append([]byte{byte(len(p))}, p...)
			if again, why2 := Classify(id.a.Request, data, Options{}); (again != got || why2 != why) && bad < 20 {
				bad++
				t.Errorf("%s % X: as a frame %s (%s), as a payload %s (%s)", id.a, p, again, why2, got, why)
			}
		})
	}
	for _, c := range []Class{Look, Change, Workshop, Never} {
		if counts[c] == 0 {
			t.Errorf("the walk met no request of class %s", c)
		}
	}
}

// Identifiers after ISO 15765-4: 7DF and 7E0-7E7 ask, 7E8-7EF answer; 18DAttF1 and 18DB33F1 ask, 18DAF1ss answers.
func TestRiskOfEveryIdentifier(t *testing.T) {
	read, clearing := []byte{0x03, 0x22, 0xF1, 0x90, 0, 0, 0, 0}, []byte{0x04, 0x14, 0xFF, 0xFF, 0xFF, 0, 0, 0}
	check := func(id link.ID, asks bool) {
		t.Helper()
		for _, d := range [][]byte{read, clearing} {
			want := Never
			if asks {
				want = map[byte]Class{0x22: Look, 0x14: Change}[d[1]]
			}
			got, why := Classify(id, d, Options{})
			if got != want || got == Never && !strings.Contains(why, id.String()) {
				t.Fatalf("%s % X: %s (%s), want %s", id, d, got, why, want)
			}
		}
	}
	for v := uint32(0); v <= 0x7FF; v++ {
		check(link.ID11(v), v >= 0x700 && !(v >= 0x7E8 && v <= 0x7EF))
	}
	for b := uint32(0); b < 256; b++ {
		check(link.ID29(0x18DA00F1|b<<8), b != 0xF1)
		check(link.ID29(0x18DAF100|b), false)
		check(link.ID29(0x18DB00F1|b<<8), true)
		check(link.ID29(0x18DA1000|b), b == 0xF1)
		check(link.ID29(0x18DB3300|b), b == 0xF1)
		check(link.ID29(0x0CF00400|b), false)
		check(link.ID29(b<<3), false)
	}
}

func TestRiskOfEveryKindOfFrame(t *testing.T) {
	id := link.ID11(0x7E0)
	for first := 0; first < 256; first++ {
		for n := 0; n <= 12; n++ {
			data := make([]byte, n)
			for i := range data {
				data[i] = []byte{byte(first), 0x3E, 0x00, 0, 0, 0, 0, 0, 0, 0, 0, 0}[i]
			}
			got, why := Classify(id, data, Options{})
			want := Never
			if first == 2 && n >= 3 && n <= 8 {
				want = Look
			}
			if got != want || why == "" {
				t.Errorf("% X: %s (%s), want %s", data, got, why, want)
			}
		}
	}
}

func TestRiskOfThisCar(t *testing.T) {
	charging := Module{Name: "Charging", Address: link.Physical(link.ID11(0x745), link.ID11(0x74D))}
	o := Options{Modules: []Module{charging}, Heard: []link.ID{link.ID11(0x7E3)}, Identifiers: []uint16{0x1234}}
	clearing := []byte{0x04, 0x14, 0xFF, 0xFF, 0xFF, 0, 0, 0}
	for _, c := range []struct {
		id   link.ID
		data []byte
		want Class
		why  string
	}{
		{link.ID11(0x745), clearing, Change, "erases"},
		{link.ID11(0x74D), clearing, Never, "answer on"},
		{link.ID11(0x7E3), clearing, Never, "itself sends on 7E3"},
		{link.ID11(0x746), clearing, Never, "No module of this car"},
		{link.ID11(0x7E0), clearing, Change, "erases"},
		{link.ID11(0x745), []byte{3, 0x22, 0x12, 0x34}, Look, "Nothing in the car changes."},
		{link.ID11(0x745), []byte{3, 0x22, 0x12, 0x35}, Change, "1235 is in no list"},
		{link.ID11(0x745), []byte{3, 0x19, 0x02, 0xFF}, Look, "The codes and what was stored with them stay"},
		{link.ID11(0x745), []byte{2, 0x21, 0x5B}, Change, "5B is in no list"},
	} {
		if got, why := Classify(c.id, c.data, o); got != c.want || !strings.Contains(why, c.why) {
			t.Errorf("%s % X: %s (%s), want %s (%s)", c.id, c.data, got, why, c.want, c.why)
		}
	}
}

func TestPayloadTooLongForOneFrame(t *testing.T) {
	long := []byte{0x22, 0xF1, 0x90, 0xF1, 0x8C, 0xF1, 0x87, 0xF1, 0x97}
	if got, why := ClassifyPayload(link.Functional11(), long); got != Never || why != whyLong {
		t.Errorf("9 bytes: %s (%s)", got, why)
	}
	a := link.Address{Mode: link.Extended, Request: link.ID11(0x7E0), Target: 0x10}
	if got, _ := ClassifyPayload(a, long[:7]); got != Never {
		t.Errorf("7 bytes and an address byte: %s", got)
	}
	if got, why := ClassifyPayload(a, long[:5]); got != Look {
		t.Errorf("5 bytes and an address byte: %s (%s)", got, why)
	}
}

package app

import (
	"encoding/hex"
	"encoding/json"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"readback/diag/dtc"
	"readback/diag/explain"
	"readback/diag/link"
	"readback/testdata"
)

// sayings are texts of the engine, with one of the inputs that made it say each.
type sayings struct {
	said, like map[string]string
	met        map[string]bool
}

func newSayings() sayings {
	return sayings{map[string]string{}, map[string]string{}, map[string]bool{}}
}

// data are bytes and figures. A text that differs from another one by these only is the same saying.
var data = regexp.MustCompile(`\b([0-9A-F]{2}( [0-9A-F]{2})*|[0-9A-F]{3,8}|[PCBU][0-9A-F]{4}(-[0-9A-F]{2})?|-?\d+(\.\d+)?)\b`)

func (s sayings) add(of string, all ...string) {
	for _, text := range all {
		if text == "" || s.met[text] {
			continue
		}
		s.met[text] = true
		if like := data.ReplaceAllString(text, "#"); s.like[like] == "" {
			s.like[like], s.said[text] = text, of
		}
	}
}

func (s sayings) explained(of string, e explain.Explanation) {
	s.add(of, e.Summary, e.Reason, e.Sure)
	s.add(of, e.Lost...)
	s.add(of, e.Cannot...)
	for source := range strings.SplitSeq(e.Source, "; ") {
		s.add(of, source)
	}
	for _, f := range e.Fields {
		s.add(of, f.Name, f.Text)
	}
	for _, f := range e.Findings {
		s.add(of, f.Text, f.Fix)
	}
	for _, n := range e.Nearest {
		s.add(of, n.Summary, n.Slip)
	}
	for _, x := range e.Steps {
		s.add(of, x.Summary, x.Reason)
	}
}

// ownCar is a car that the engine knows, of the newer and of the older standard.
func ownCar() []explain.Options {
	held := []dtc.Code{dtc.From3(0x05, 0x62, 0x00), dtc.From3(0x0A, 0x80, 0x13)}
	module := func(protocol string, codes, snapshots, now int) explain.Options {
		return explain.Options{Modules: []explain.Module{{Name: "Motor", Address: link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), Protocol: protocol, Codes: codes, Snapshots: snapshots, Now: now, Held: held, Filler: map[bool][]byte{true: {0x55}}[now > 1]},
			{Name: "Airbag", Address: link.Physical(link.ID11(0x7E4), link.ID11(0x7EC)), Safety: true, Codes: -1}}, Heard: []link.ID{link.ID11(0x123), link.ID11(0x7E6)}, Filler: []byte{0xAA}}
	}
	all := []explain.Options{{}, {Wish: explain.WishRead}, {Wish: explain.WishClear}, module("UDS", 2, 1, 1), module("KWP", 3, 2, 2), module("OBD", 1, 0, 0), module("UDS", 0, 0, 0)}
	for _, wish := range []explain.Wish{explain.WishRead, explain.WishClear} {
		o := module("UDS", 1, 1, 0)
		o.Wish = wish
		all = append(all, o)
	}
	return all
}

// payloads are requests and answers of every service, with every variant of those that have some, at several lengths.
func payloads(do func(p []byte)) {
	tails := [][]byte{{0x11, 0x11, 0x11, 0x11, 0x11, 0x11, 0x11, 0x11, 0x11}, {0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, {0x00, 0x20, 0x40, 0x60, 0x80, 0x00, 0x01}, {0x90, 0xF1, 0x8C, 0xF4, 0x0C},
		{0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08, 0x09, 0x0A}, {0x90, 0x12, 0x11, 0x01, 0x01}}
	for s := range 256 {
		do([]byte{byte(s)})
		subs := s&0x3F < 0x10 || slices.Contains([]int{0x10, 0x11, 0x14, 0x19, 0x21, 0x22, 0x24, 0x27, 0x28, 0x29, 0x2A, 0x2C, 0x2F, 0x30, 0x31, 0x38, 0x3E, 0x83, 0x85, 0x86, 0x87, 0x1A}, s&^0x40)
		for b := range 256 {
			if !subs && b%37 != 0 {
				continue
			}
			do([]byte{byte(s), byte(b)})
			for i, t := range tails {
				if n := len(t) - (s+b+i)%3; n > 0 {
					do(append([]byte{byte(s), byte(b)}, t[:n]...))
				}
			}
		}
	}
	for s := range 256 {
		for code := range 256 {
			if s%5 == 4 || slices.Contains([]int{0x04, 0x10, 0x11, 0x14, 0x19, 0x22, 0x27, 0x2E, 0x31, 0x34, 0x3E}, s) {
				do([]byte{0x7F, byte(s), byte(code)})
			}
		}
	}
	for id := range 256 {
		for _, page := range []byte{0xF1, 0xF0, 0xF2, 0xF4, 0xF6, 0xF8, 0xFA, 0xFD} {
			do([]byte{0x22, page, byte(id)})
			do([]byte{0x62, page, byte(id), 0x41, 0x42, 0x43, 0x44})
		}
		do([]byte{0x41, byte(id), 1, 2, 3, 4, 5, 6, 7, 8, 9})
		do([]byte{0x42, byte(id), 0, 1, 2, 3, 4})
		do([]byte{0x46, byte(id), 1, 10, 0, 1, 0, 0, 0, 9})
		do([]byte{0x49, byte(id), 1, 0x41, 0x42, 0x43, 0x44})
		do([]byte{0x1A, byte(id)})
		do([]byte{0x64, 0xF1, 0x90, byte(id), 0x10, 0x20, 0x30})
		do([]byte{0x64, 0xF1, 0x90, 0xA1, byte(id)})
	}
}

// explanations are what is said of requests and answers: of every service of both standards, and of slips.
func explanations(t *testing.T) sayings {
	t.Helper()
	said := newSayings()
	cars := ownCar()
	newer, older := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), link.AtHeader(0x10)
	n := 0
	payloads(func(p []byte) {
		if n++; !watched(n) { // nothing here runs side by side
			return
		}
		of := strings.ToUpper(strconv.FormatInt(int64(p[0]), 16)) + " " + hexText(p)
		said.explained(of, explain.ExplainMessage(newer, p, explain.Options{}))
		said.explained(of+" to a header", explain.ExplainMessage(older, p, explain.Options{}))
		said.explained(of+" to a module of the older standard", explain.ExplainMessage(newer, p, cars[4]))
		said.add(of, explain.Summary(newer, p, explain.Options{}).Text, explain.Summary(newer, p, cars[4]).Text, explain.ExplainAnswer(nil, p))
		if len(p) == 2 {
			said.add(of+" as an answer to 14", explain.ExplainAnswer([]byte{0x14}, p))
		}
		if len(p) < 5 {
			said.explained(of+" to all", explain.ExplainMessage(link.Functional11(), p, cars[3]))
			frame := append([]byte{byte(len(p))}, p...)
			said.explained("frame of "+of, explain.ExplainFrame(link.ID11(0x7E5), frame, cars[3]))
		}
	})
	for first := range 256 {
		for _, id := range []link.ID{link.ID11(0x7E5), link.ID11(0x7ED), link.ID11(0x123), link.ID29(0x18DA10F1), link.ID29(0x18DAF110), link.ID29(0x18DB33F1), link.ID11(0x7DF)} {
			for _, rest := range [][]byte{{}, {0x14}, {0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}, {0x08, 0x0A, 0xF5, 0xAA}, {0x62, 0xF1, 0x90, 1, 2, 3, 4}, {0x04, 0xF3, 0xFF}} {
				data := append([]byte{byte(first)}, rest...)
				said.explained(id.String()+" "+hexText(data), explain.ExplainFrame(id, data, explain.Options{}))
				said.add(id.String()+" "+hexText(data), explain.SummaryFrame(id, data, explain.Options{}).Text)
			}
		}
	}
	for _, input := range slips(t) {
		for _, o := range cars {
			said.explained(input, explain.Explain(input, o))
		}
	}
	all := slips(t)
	for i, input := range all {
		for _, other := range []string{all[(i+1)%len(all)], "7E5 04 14 FF FF FF 55 55 55", "7E5 04 14 FF FF FF AA AA AA", "7E5 03 19 02 FF 55 55 55 55"} {
			c := explain.Compare(input, other, explain.Options{})
			of := input + " beside " + other
			said.add(of, c.Summary)
			for _, d := range c.Differences {
				said.add(of, d.Text, d.Kind)
			}
		}
	}
	for _, p := range worked(t) {
		said.explained(hexText(p), explain.ExplainMessage(newer, p, explain.Options{}))
		said.add(hexText(p), explain.ExplainAnswer(nil, p))
	}
	return said
}

// worked are the messages of the published examples.
func worked(t *testing.T) (out [][]byte) {
	t.Helper()
	var list []struct{ Request, Bytes string }
	if err := json.Unmarshal(testdata.UDSWorked, &list); err != nil {
		t.Fatal(err)
	}
	for _, x := range list {
		for _, s := range []string{x.Request, x.Bytes[strings.LastIndexByte(x.Bytes, '|')+1:]} {
			p, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, p)
		}
	}
	return out
}

// slips are the mistyped requests of the test data, and some that only a known car makes doubtful.
func slips(t *testing.T) (out []string) {
	t.Helper()
	for line := range strings.SplitSeq(testdata.ExplainCases, "\n") {
		if f := strings.Split(line, "\t"); len(f) == 5 {
			out = append(out, strings.NewReplacer(`\n`, "\n", `\t`, "\t").Replace(f[1]))
		}
	}
	if len(out) < 300 {
		t.Fatalf("only %d mistyped requests", len(out))
	}
	return append(out, "7E5 06 19 04 62 05 00 FF 55", "7E5 06 19 04 05 63 00 FF 55", "7E5 03 19 02 FF", "7E5 04 18 02 FF 00 55 55 55", "7E5 03 19 02 FF 00 00 00 00", "7E4 03 19 02 FF 55 55 55 55",
		"7E5 04 14 FF FF FF AA AA", "7E5 02 09 02 AA AA AA AA AA", "7E5 03 14 FF 00 AA AA AA AA")
}

func hexText(b []byte) string {
	var s strings.Builder
	for i, x := range b {
		if i > 0 {
			s.WriteByte(' ')
		}
		s.WriteString(strings.ToUpper(strconv.FormatUint(uint64(x)|0x100, 16)[1:]))
	}
	return s.String()
}

// englishWords are words that German does not have.
var englishWords = regexp.MustCompile(`\b(the|of|is|are|it|its|and|not|this|that|with|which|from|for|has|have|module|modules|codes|request|answer|value|number|bytes follow|bank|sensor|after|before|read|no|or|by|on)\b`)

// untold lists texts that a language has no words for, or of which English words are left over.
func untold(t *testing.T, tag string, said sayings) (missing []string) {
	t.Helper()
	all := tongues(t)
	p, ok := all[tag]
	if !ok {
		t.Fatalf("%s has no book", tag)
	}
	for text := range said.said {
		got, ok := p.Find(text)
		switch {
		case !ok && strings.ContainsFunc(text, isLower):
			missing = append(missing, text)
		case ok && englishWords.MatchString(quoted.ReplaceAllString(got, "")):
			missing = append(missing, text+" ⇒ "+got)
		}
	}
	slices.Sort(missing)
	return missing
}

func isLower(r rune) bool { return r >= 'a' && r <= 'z' }

// TestExplanationsAreTold: there are German words for all that is said of requests and answers.
func TestExplanationsAreTold(t *testing.T) {
	said := explanations(t)
	missing := untold(t, "de", said)
	t.Logf("%d texts, %d without German", len(said.said), len(missing))
	for i, s := range missing {
		if i == 20000 {
			break
		}
		t.Errorf("%q", s)
	}
}

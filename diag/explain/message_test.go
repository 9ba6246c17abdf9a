package explain

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"readback/diag/link"
	"readback/testdata"
)

var engine = link.Physical(link.ID11(0x7E0), link.ID11(0x7E8))

func fieldTexts(e Explanation) string {
	var out []string
	for _, f := range e.Fields {
		out = append(out, f.Name+": "+f.Text)
	}
	return strings.Join(out, "\n")
}

// inOrder checks that words stand in a text one after another.
func inOrder(t *testing.T, name, text string, want []string) {
	t.Helper()
	rest := strings.ToLower(text)
	for _, w := range want {
		w = strings.ToLower(w)
		i := strings.Index(rest, w)
		if i < 0 {
			t.Errorf("%s: no %q in its place in\n%s", name, w, text)
			return
		}
		rest = rest[i+len(w):]
	}
}

// Requests of every service of ISO 14229-1 and J1979 whose form holds more than one number, and their answers. Bytes made
// up for this test after the clauses; the enumerations are those of the names' table (py-uds).
func TestMessagesByteByByte(t *testing.T) {
	for _, c := range []struct {
		hex  string
		want []string
	}{
		{"2312F000001020", []string{"Show raw memory", "The address has 2 bytes, the size 1 byte", "Not understood"}},
		{"2312F00010", []string{"The address has 2 bytes", "At F000", "16 bytes"}},
		{"2701", []string{"hand out the question"}},
		{"2702A1B2C3D4", []string{"take the key", "Key: Bytes A1 B2 C3 D4"}},
		{"67010000", []string{"hand out the question", "it is not locked"}},
		{"670112345678", []string{"question that the key has to answer: 12 34 56 78"}},
		{"28010102", []string{"stop sending ordinary messages", "Not understood"}},
		{"290100000401020304000155", []string{"check a certificate", "How to talk: Bytes 00", "next 4 bytes", "Certificate: Bytes 01 02 03 04", "next 1 byte", "Question: Bytes 55"}},
		{"690500000102030405060708090A0B0C0D0E0F000255AA0000", []string{"It was asked to hand out", "The request is accepted", "Which method", "next 2 bytes", "Question: Bytes 55 AA", "next 0 bytes"}},
		{"6908010203", []string{"refuses without a reason", "Not understood"}},
		{"2A0301FE", []string{"fast, until it is stopped", "value F201", "value F2FE"}},
		{"2C01F301F40C0102F19001", []string{"List of values 01", "Motor speed", "From byte 1 of it, 2 bytes", "Not understood"}},
		{"2C02F3021400001000200000300010", []string{"The address has 4 bytes, the size 1 byte", "At 00001000", "32 bytes", "At 00003000", "16 bytes"}},
		{"2C02F302120010000420000008", []string{"The address has 2 bytes", "At 0010", "0 bytes"}},
		{"2F010C0364", []string{"Which value", "Set it for a while", "Bytes of the maker's own: 64"}},
		{"3101FF00", []string{"run a built-in job", "FF00: erase memory for new software"}},
		{"71030203AA", []string{"tell the result", "0203", "Result"}},
		{"34114400100000000020", []string{"Not understood"}},
		{"3411440010000000000020", []string{"Compressed in the maker's way 1, encrypted in the maker's way 1", "The address has 4 bytes, the size 4 bytes", "At 00100000", "32 bytes"}},
		{"74200FFF", []string{"The length has 2 bytes", "At most 4095 bytes in one message"}},
		{"36010102", []string{"Block number 1", "Bytes of the maker's own: 01 02"}},
		{"7601", []string{"Block number 1"}},
		{"380400032F612F00", []string{"Read a file", "next 3 bytes", "\"/a/\"", "Not compressed"}},
		{"3801000261620001100A", []string{"Add a file", "\"ab\"", "Not compressed", "Each size has 1 byte", "Unpacked 16 bytes", "Packed 10 bytes"}},
		{"78040204000000020010000A", []string{"Read a file", "At most 1024 bytes", "Not compressed", "Each size has 2 bytes", "Unpacked 16 bytes", "Packed 10 bytes"}},
		{"3D1220000155", []string{"At 2000", "1 byte.", "Bytes of the maker's own: 55"}},
		{"8303", []string{"tell its timing now"}},
		{"C30300320140", []string{"tell its timing now", "Bytes 00 32 01 40"}},
		{"8400010000020001AABB", []string{"Flags", "Which method", "signature has 2 bytes", "Counter: Number 1"}},
		{"8400010000020001103EAABB", []string{"Content: A locked message: 10 3E", "Signature: Bytes AA BB"}},
		{"8585", []string{"Variant 05", "do not answer"}},
		{"860102FF1902FF", []string{"when the state of a code changes", "Without end", "Bytes FF 19 02 FF"}},
		{"870112", []string{"usual speed", "500000 bit/s"}},
		{"8702030D40", []string{"any speed", "200000 bit/s"}},
		{"64010C01A130", []string{"Which value", "A number without a sign: 1 byte", "kilometer per hour (km/h)"}},
		{"64010C0195000000E0C4", []string{"A number without a sign: 1 byte", "Put the number x through y = C0 * x + C1"}},
		{"6F010C036401", []string{"Set it for a while", "State: Bytes 64 01"}},
		{"51040A", []string{"shut down fast", "at least 10 s"}},
		{"510401", []string{"at least 1 s"}},
		{"500200190064", []string{"within 25 ms", "within 1000 ms"}},
		{"7F2278", []string{"No, or not yet", "Tell a value", "Understood, needs a moment", "up to 5 s"}},
		{"7F1431", []string{"Forget stored trouble codes", "Nothing was erased. It does not know this group or code"}},
		{"7F1911", []string{"18 02 FF 00"}},
		{"450101141219", []string{"hreshold from rich to lean", "Bank 1, sensor 1", "0.100 V", "0.090 V", "0.125 V"}},
		{"460181240005000000FF", []string{"Oxygen sensor, bank 1, sensor 1", "of the maker's own", "within its limits"}},
		{"4600C0000001", []string{"Which monitor numbers", "Bytes C0 00 00 01"}},
		{"42020001034C0005", []string{"number 02", "frame 0", "P0103"}},
		{"5914014300810BAD", []string{"P0143-00: counter at -127", "Not understood"}},
		{"594233FF1E0220123456A8", []string{"The emission systems", "SAE J1939-73", "Code 12 34 56"}},
		{"5902FF0A801308", []string{"P0A80-13: confirmed (status 08). ", "circuit is open"}},
		{"FA01", []string{"No standard has an answer FA", "Not understood"}},
		{"0A", []string{"Tell the codes that a clear leaves"}},
	} {
		p := unhex(c.hex)
		e := ExplainMessage(engine, p, Options{})
		soundMessage(t, c.hex, e, p)
		inOrder(t, c.hex, fieldTexts(e), c.want)
	}
}

// The same bytes to a module of the older standard, ISO 14230-3 (forms as scapy has them, see older.go), to one of the
// newer, and to one of which nobody knows what it speaks.
func TestTheStandardDecides(t *testing.T) {
	of := func(protocol string) Options {
		return Options{Modules: []Module{{Name: "Body", Address: engine, Protocol: protocol}}}
	}
	for _, c := range []struct {
		hex, older, newer string
		both              bool // an unknown module: both are said
	}{
		{"1081", "go back to normal", "And do not answer", false},
		{"1085", "wait for new software", "Variant 05", true},
		{"1089", "stand by", "Variant 09", true},
		{"1092", "open the workshop mode", "Variant 12", true},
		{"10A5", "mode of the maker's own, number A5", "Variant 25", true},
		{"1182", "empties the memory", "ignition had been switched off and on", true},
		{"14FF00", "All groups (older form)", "All groups (older form)", false},
		{"221234", "number 1234", "number 1234", false},
		{"22123402", "Again and again, slowly", "Not understood", true},
		{"2312345610", "At 123456", "At 3456", true},
		{"2801", "Please answer", "Bytes are missing", true},
		{"2901", "Please answer", "Bytes are missing", true},
		{"2C050156", "From numbers of its own", "Variant 05", true},
		{"2C0504", "Drop it", "Variant 05", true},
		{"2F123407FF", "Set it for a while", "Bytes 07", true},
		{"3101", "The built-in job 01", "Bytes are missing", true},
		{"3412345600001000", "4096 bytes", "Not understood", true},
		{"38123456", "At 123456", "next 13398 bytes", true},
		{"3D1234560155", "At 123456", "At 3456", true},
		{"3E01", "Please answer", "Variant 01", true},
		{"3E", "stay here", "", false},
		{"83030001020304", "Variant 03", "tell its timing now", true},
		{"8501FF0002", "Store none", "store codes again", true},
		{"8601028201", "When a new code is stored", "Bytes 82 01", true},
		{"5081", "It was asked to go back to normal", "It was asked to go back to normal", false},
		{"54FF00", "All groups", "All groups", false},
		{"58010A8060", "stored, and there now (status 60)", "stored, and there now (status 60)", false},
		{"5A9056494E", "Vehicle identification number (number 90)", "Vehicle identification number (number 90)", false},
		{"6105414243", "\"ABC\"", "\"ABC\"", false},
		{"71E001", "The built-in job E0", "Variant 60", false},
		{"C1EA8F", "Key bytes EA 8F", "Key bytes EA 8F", false},
		{"7F1012", "or its length is wrong", "does not know this variant of the request (12)", false},
		{"7F1080", "not allowed in the present session (80)", "does not name (80)", false},
	} {
		p := unhex(c.hex)
		old, now, unknown := ExplainMessage(engine, p, of("KWP")), ExplainMessage(engine, p, of("UDS")), ExplainMessage(engine, p, Options{})
		for _, e := range []Explanation{old, now, unknown} {
			soundMessage(t, c.hex, e, p)
		}
		if c.older == "stay here" {
			c.older = "I am still here"
		}
		inOrder(t, c.hex+" older", fieldTexts(old), []string{c.older})
		inOrder(t, c.hex+" newer", fieldTexts(now), []string{c.newer})
		if got := strings.Contains(fieldTexts(unknown), "older standard"); got != c.both && c.hex != "3E" {
			t.Errorf("%s to an unknown module: both said %v, want %v\n%s", c.hex, got, c.both, fieldTexts(unknown))
		}
		if strings.Contains(fieldTexts(now)+fieldTexts(old), "module of the older standard") {
			t.Errorf("%s: both are said of a module that is known", c.hex)
		}
	}
}

// To know what a module speaks never makes a request safer.
func TestTheStandardMakesNothingSafer(t *testing.T) {
	known := map[string]Options{}
	for _, p := range []string{"UDS", "KWP", "OBD"} {
		known[p] = Options{Modules: []Module{{Name: "Body", Address: engine, Protocol: p}}}
	}
	stricter := 0
	each := func(p []byte) {
		data := append([]byte{byte(len(p))}, p...)
		before, _ := Classify(engine.Request, data, Options{})
		for name, o := range known {
			class, why := Classify(engine.Request, data, o)
			if danger(class) < danger(before) || why == "" {
				t.Fatalf("% X to a module that speaks %s: %s (%s), and %s to an unknown one", p, name, class, why, before)
			}
			if class != before {
				stricter++
			}
		}
	}
	for first := range 256 {
		each([]byte{byte(first)})
		for second := range 256 {
			for n := range 4 {
				each(append([]byte{byte(first), byte(second)}, []byte{0xFF, 0x00, 0xFF}[:n]...))
			}
		}
	}
	if stricter == 0 {
		t.Error("no request is judged more strictly")
	}
}

// Worked examples of both standards, each with its source in the file: what they mean stands in the explanation.
func TestWorkedExamples(t *testing.T) {
	var list []struct {
		Kind, Request, Bytes, Source string
		Expect                       map[string]any
	}
	if err := json.Unmarshal(testdata.UDSWorked, &list); err != nil {
		t.Fatal(err)
	}
	words := map[string]func(v any) []string{
		"degC":  func(v any) []string { return []string{fmt.Sprintf("%v °C", v)} },
		"rpm":   func(v any) []string { return []string{fmt.Sprintf("%v 1/min", v)} },
		"g/s":   func(v any) []string { return []string{fmt.Sprintf("%v g/s", v)} },
		"vin":   func(v any) []string { return []string{fmt.Sprint(v)} },
		"calid": func(v any) []string { return []string{fmt.Sprint(v)} },
		"P2ms":  func(v any) []string { return []string{fmt.Sprintf("within %v ms", v)} }, "P2starms": func(v any) []string { return []string{fmt.Sprintf("within %v ms", v)} },
		"codes": func(v any) (out []string) {
			for _, x := range v.([]any) {
				c := x.([]any)
				out = append(out, c[0].(string))
				if n, fdc := strings.CutPrefix(c[1].(string), "fdc "); fdc {
					out = append(out, "counter at "+n)
				} else {
					out = append(out, "status "+c[1].(string))
				}
			}
			return out
		},
		"CAN": func(v any) (out []string) {
			for _, x := range v.([]any) {
				out = append(out, x.(string))
			}
			return out
		},
		"nrc":     func(any) []string { return []string{"the car is not in the state it needs (22)"} },
		"cleared": func(any) []string { return []string{"no proof"} },
		"mil":     func(any) []string { return []string{"Lamp: on"} },
		"mA":      func(any) []string { return []string{"mA"} },
		"rgid":    func(v any) []string { return []string{fmt.Sprintf("Which group: Bytes %v", v)} },
		"fgid":    func(any) []string { return []string{"The emission systems"} },
	}
	met := 0
	for _, x := range list {
		last := x.Bytes[strings.LastIndexByte(x.Bytes, '|')+1:]
		p := unhex(strings.ReplaceAll(last, " ", ""))
		e := ExplainMessage(engine, p, Options{})
		soundMessage(t, x.Bytes, e, p)
		request := unhex(strings.ReplaceAll(x.Request, " ", ""))
		if e.Direction != Answer || e.Service != fmt.Sprintf("%02X", request[0]) {
			t.Errorf("%s: %s to %s", x.Bytes, e.Direction, e.Service)
		}
		for k, v := range x.Expect {
			if f := words[k]; f != nil {
				met++
				inOrder(t, x.Bytes+" ("+x.Source+")", fieldTexts(e), f(v))
			}
		}
	}
	if met < 25 {
		t.Errorf("only %d things compared", met)
	}
}

// The consecutive frames of the ELM327 data sheet, page 42: the VIN of 49 02 in three frames.
func TestFramesOfOneMessage(t *testing.T) {
	frames := [][]byte{unhex("1014490201314434"), unhex("2147503030523535"), unhex("2242313233343536")}
	e := ExplainFrames(link.ID11(0x7E8), frames, Options{})
	soundMessage(t, "VIN", e, unhex("4902013144344750303052353542313233343536"))
	if !strings.Contains(e.Summary, "1D4GP00R55B123456") || len(e.Findings) != 0 || e.Direction != Answer {
		t.Errorf("%+v", e)
	}
	for _, c := range []struct {
		name, code string
		at         int
		frames     [][]byte
	}{
		{"none", "no-frames", -1, nil},
		{"the second is missing", "page-order", 1, [][]byte{frames[0], frames[2]}},
		{"the last is missing", "page-missing", 2, frames[:2]},
		{"the first is missing", "no-first-page", 0, frames[1:]},
		{"one too many", "page-too-many", 3, append(slices.Clone(frames), unhex("2300000000000000"))},
		{"one of another kind", "page-foreign", 1, [][]byte{frames[0], unhex("300000"), frames[1]}},
		{"more than a single frame", "page-too-many", 1, [][]byte{unhex("017E"), frames[1]}},
		{"an empty frame", "no-first-page", 0, [][]byte{{}}},
	} {
		e := ExplainFrames(link.ID11(0x7E8), c.frames, Options{})
		if len(e.Findings) != 1 || e.Findings[0].Code != c.code || e.Findings[0].At != c.at || e.Class != Never {
			t.Errorf("%s: %s %+v", c.name, e.Class, e.Findings)
		}
		soundMessage(t, c.name, e, e.Payload)
	}
	// A long answer whose count passes 15, padded at the end (ISO 15765-2: the count begins again at 0).
	payload := append(unhex("5902FF"), bytes.Repeat(unhex("0A801308"), 40)...)
	long := [][]byte{append([]byte{0x10, byte(len(payload))}, payload[:6]...)}
	for i, rest := 1, payload[6:]; len(rest) > 0; i++ {
		n := min(7, len(rest))
		long = append(long, append(append([]byte{0x20 | byte(i&15)}, rest[:n]...), bytes.Repeat([]byte{0xAA}, 7-n)...))
		rest = rest[n:]
	}
	if e := ExplainFrames(link.ID11(0x7E8), long, Options{}); len(e.Fields) != 1+3+40 || len(e.Findings) != 0 {
		t.Errorf("%d fields, %+v", len(e.Fields), e.Findings)
	}
}

// What is too long for one frame is refused, and it is said what it would be as a whole.
func TestLongRequestsSayWhatTheyWouldBe(t *testing.T) {
	for hex, want := range map[string]string{
		"2EF1900102030405060708":   "As a whole it would be refused too. It writes settings for good",
		"3101FF0001020304":         "As a whole it would be refused too. It runs or stops",
		"14FFFFFF0102030405":       "As a whole it would be a change. It erases codes",
		"22F190F18CF187F197":       whyLong,
		"2311223344556677":         "As a whole it would be refused too. It reads raw memory",
		"BA0102030405060708":       "Nobody can say here",
		"190201020304050607080910": whyLong,
	} {
		e := ExplainMessage(engine, unhex(hex), Options{})
		if e.Class != Never || !strings.HasSuffix(strings.SplitAfter(e.Reason, want)[0], want) {
			t.Errorf("%s: %s (%s), want %q", hex, e.Class, e.Reason, want)
		}
		first := append([]byte{0x10, byte(len(unhex(hex)))}, unhex(hex)[:6]...)
		if f := ExplainFrame(engine.Request, first, Options{}); f.Class != Never || want != whyLong && !strings.Contains(f.Reason, want) {
			t.Errorf("%s as a first frame: %s (%s)", hex, f.Class, f.Reason)
		} else if serviceOf(unhex(hex)[0]) != nil && (len(f.Cannot) == 0 || !strings.Contains(f.Sure, "beginning")) {
			t.Errorf("%s as a first frame: can't %q, sure %q", hex, f.Cannot, f.Sure)
		}
	}
}

// Extended and mixed addressing, ISO 15765-2: the first byte of the data field is an address, the transport byte follows.
func TestAddressBytes(t *testing.T) {
	extended := link.Address{Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x612), Target: 0x12, Source: 0xF1}
	mixed := link.Address{Mode: link.Mixed, Request: link.ID11(0x7D0), Answer: link.ID11(0x7D8), Target: 0x20, Source: 0x20}
	o := Options{Modules: []Module{{Name: "Engine", Address: extended}, {Name: "Door", Address: mixed},
		{Name: "Seat", Address: link.Address{Mode: link.Mixed, Request: link.ID11(0x7D0), Answer: link.ID11(0x7D8), Target: 0x21, Source: 0x21}}}}
	for _, c := range []struct {
		id   uint32
		data string
		want []string
	}{
		{0x7D0, "200322F190FFFFFF", []string{"The Door module only", "The address 20", "next 3 bytes", "Vehicle identification"}},
		{0x7D0, "210322F190FFFFFF", []string{"The Seat module only", "The address 21"}},
		{0x7D8, "21 10 14 62 F1 90 30 54", []string{"The Seat module speaks", "The address 21", "long message of 20 bytes"}},
		{0x7D8, "20210102030405 06", []string{"The Door module speaks", "number 1 of the count"}},
		{0x7D0, "2030080A", []string{"Go on", "8 pages", "At least 10 ms"}},
		{0x612, "F1037F2278", []string{"The Engine module speaks", "that of the tester", "needs a moment"}},
	} {
		data := unhex(strings.ReplaceAll(c.data, " ", ""))
		e := ExplainFrame(link.ID11(c.id), data, o)
		soundExplanation(t, c.data, e)
		inOrder(t, c.data, fieldTexts(e), c.want)
		if b := SummaryFrame(link.ID11(c.id), data, o); b.Direction != e.Direction || b.Class != e.Class {
			t.Errorf("%s: %+v, explained as %s %s", c.data, b, e.Direction, e.Class)
		}
	}
	// An address byte that no module has: nobody can tell where the message begins for whom.
	if class, why := Classify(link.ID11(0x7D0), unhex("220322F190"), o); class != Never || !strings.Contains(why, "address byte") {
		t.Errorf("%s (%s)", class, why)
	}
	if e := ExplainMessage(o.Modules[2].Address, unhex("22F190"), o); e.Class != Look || !strings.Contains(e.Summary, "the Seat module") {
		t.Errorf("%s %s", e.Class, e.Summary)
	}
}

func TestSourcesOfAnAnswer(t *testing.T) {
	e := ExplainMessage(engine, unhex("5902FF0A801308"), Options{})
	if got, want := e.Source, "ISO 14229-1, service 19; SAE J2012, codes; ISO 15765-4, identifiers."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if e.Term != "ReadDTCInformation" || e.PayloadText != "5902FF0A801308" || e.Input != "7E8 5902FF0A801308" {
		t.Errorf("%q %q %q", e.Term, e.PayloadText, e.Input)
	}
	if e := ExplainMessage(engine, unhex("7F2231"), Options{}); e.Term != "ReadDataByIdentifier" || e.Service != "22" {
		t.Errorf("a refusal: %q %q", e.Term, e.Service)
	}
}

func TestMessagesOfUnknownOrigin(t *testing.T) {
	for _, a := range []link.Address{{}, {Answer: link.ID11(0x7E8)}, link.Functional11()} {
		for _, p := range [][]byte{nil, {0x7F}, {0x7F, 0x22}, {0x62, 0xF1}, {0x22, 0xF1, 0x90}, {0xFF}} {
			e := ExplainMessage(a, p, Options{})
			soundMessage(t, fmt.Sprintf("%s % X", a, p), e, p)
			if b := Summary(a, p, Options{}); b.Direction != e.Direction || b.Class != e.Class || b.Text == "" {
				t.Errorf("%s % X: %+v, explained as %s %s (%s)", a, p, b, e.Direction, e.Class, e.Reason)
			}
		}
	}
}

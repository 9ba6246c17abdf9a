package dtc_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"readback/diag/dtc"
	"readback/testdata"
)

func code(t *testing.T, s string) dtc.Code {
	t.Helper()
	c, err := dtc.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func status(s dtc.Status) *dtc.Status { return &s }

// listed are the standard codes of four open lists, with the number of lists.
func listed(t *testing.T) map[string]string {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(testdata.DTCListed))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for line := range strings.Lines(string(text)) {
		if name, n, ok := strings.Cut(strings.TrimSpace(line), "\t"); ok && line[0] != '#' {
			out[name] = n
		}
	}
	return out
}

// Every code with a meaning is a standard code that at least one of four open lists holds, but for two that belong
// to families of which they hold the rest. No two mean the same, but where a doubt stands beside one.
func TestCodesExist(t *testing.T) {
	lists, meanings, n := listed(t), map[string]string{}, 0
	for v := range 65536 {
		c := dtc.From2(byte(v>>8), byte(v))
		text, ok := c.Meaning()
		if !ok {
			continue
		}
		n++
		if c.Origin() != dtc.Standard {
			t.Errorf("%s belongs to the %s and has a meaning", c, c.Origin())
		}
		if lists[c.Name()] == "" && c.Name() != "C0050" && c.Name() != "C0001" {
			t.Errorf("%s (%s) is in no list", c, text)
		}
		if other := meanings[text]; other != "" && dtc.Describe(c, nil, 0xFF, nil).Doubt == "" {
			t.Errorf("%s and %s both mean %q", c, other, text)
		}
		meanings[text] = c.Name()
	}
	if n < 600 {
		t.Errorf("only %d codes have a meaning", n)
	}
}

// Meanings that service pages and open lists agree on; the words are ours.
func TestMeanings(t *testing.T) {
	for name, words := range map[string]string{
		"P0A08": "DC-DC converter", "P0A1B": "drive motor control module A", "P0A1F": "battery control module",
		"P0A2B": "temperature sensor of drive motor A", "P0A7F": "battery is worn", "P0A80": "new one", "P0A94": "DC-DC converter", "P0AA6": "isolation",
		"P0AFA": "voltage of the drive battery is too low", "P0BD7": "inverter", "P0C73": "coolant pump", "P0D26": "precharge", "P0D59": "plug is too high",
		"C0040": "electrical fault of the right front wheel speed sensor", "U0140": "lost contact with the body control module",
		"U0100": "lost contact with engine or drive control module A", "U0293": "hybrid or EV powertrain control module",
		"U0155": "instrument panel", "U3003": "voltage of the 12 V battery", "U0073": "data bus A stopped",
		"P0133": "the oxygen sensor before the catalyst (bank 1, sensor 1) reacts slowly", "P0141": "heating of the oxygen sensor after the catalyst (bank 1, sensor 2)",
		"P0280": "cylinder 7 is too high", "P0312": "cylinder 12", "P0562": "12 V supply is too low", "P0A10": "status signal of the DC-DC converter is too high",
		"P0A0A": "interlock", "U0027": "slow CAN bus touch each other", "U0422": "wrong data from the body control module",
	} {
		if text, ok := code(t, name).Meaning(); !ok || !strings.Contains(text, words) {
			t.Errorf("%s: %q, %v, lacks %q", name, text, ok, words)
		}
	}
}

// A maker's code never gets a meaning, whatever its failure type says.
func TestMakerCode(t *testing.T) {
	d := dtc.Describe(code(t, "P1D5A-13"), status(0x2F), 0x7F, nil)
	if d.Known || d.Meaning != "The car's maker decides what P1D5A means." || d.Origin != dtc.Maker {
		t.Errorf("meaning %q, known %v, origin %s", d.Meaning, d.Known, d.Origin)
	}
	if d.Severity != string(dtc.UnknownLevel) || !strings.Contains(d.SeverityReason, string(dtc.WorkshopSoon)) {
		t.Errorf("severity %s: %s", d.Severity, d.SeverityReason)
	}
	if want := "P is for the drive and charging side. 1 means the maker decides what it means. 13 is standard: the circuit is open."; d.Letters != want {
		t.Errorf("letters %q", d.Letters)
	}
	if !d.ThereNow || d.Code != "P1D5A" || d.FailureType != "13" || d.FailureText != "the circuit is open" {
		t.Errorf("%+v", d)
	}
}

func TestSeverity(t *testing.T) {
	for _, c := range []struct {
		code   string
		status *dtc.Status
		lists  []string
		want   dtc.Level
	}{
		{"P0AA6-00", status(0x2F), nil, dtc.Stop},
		{"P0AA6-00", status(0x28), nil, dtc.WorkshopSoon}, // a remembered isolation fault is not shrugged off
		{"P0AA6-00", status(0x50), nil, dtc.Info},
		{"P0AA6", nil, nil, dtc.Stop}, // nothing known of its state
		{"P0AA6", nil, []string{"stored"}, dtc.Stop},
		{"P0AA6", nil, []string{"pending"}, dtc.WorkshopSoon},
		{"P0A7E-00", status(0x01), nil, dtc.Stop},
		{"C0040-1C", status(0x2F), nil, dtc.WorkshopSoon},
		{"C0040-1C", status(0x28), nil, dtc.Watch},
		{"C0040-1C", status(0xA8), nil, dtc.WorkshopSoon}, // it asks for a lamp
		{"U0140-87", status(0x28), nil, dtc.Watch},
		{"U0140-87", status(0x24), nil, dtc.Watch},
		{"U0151-00", status(0x28), nil, dtc.WorkshopSoon}, // the airbag module
		{"U0184-00", status(0x2F), nil, dtc.Info},         // the radio
		{"U3003-16", status(0x68), nil, dtc.Watch},
		{"P0301", nil, []string{"permanent"}, dtc.Watch},
		{"B1A14-15", status(0x2F), nil, dtc.UnknownLevel},
		{"B1A14-15", status(0x50), nil, dtc.Info},
		{"P0C99-00", status(0x2F), nil, dtc.UnknownLevel}, // a standard code outside the table
	} {
		d := dtc.Describe(code(t, c.code), c.status, 0xFF, c.lists)
		if d.Severity != string(c.want) || d.SeverityReason == "" || d.Advice == "" {
			t.Errorf("%s %v %v: %s (%s), want %s", c.code, c.status, c.lists, d.Severity, d.SeverityReason, c.want)
		}
	}
}

// What is said beside the level: that an area is taken seriously although its fault is only remembered, what to do, and that a
// workshop should see it before anything is erased.
func TestSeverityInWords(t *testing.T) {
	const serious, workshop = "taken seriously all the same", "A workshop should see it before anything is erased."
	for _, c := range []struct {
		name, code string
		status     *dtc.Status
		lists      []string
		serious    bool
		advice     string
		workshop   bool
	}{
		{"remembered, of an airbag", "U0151-00", status(0x28), nil, true, "Have a workshop look at it soon.", true},
		{"waiting, of an airbag", "U0151", nil, []string{"pending"}, true, "Have a workshop look at it soon.", true},
		{"now, of an airbag", "U0151-00", status(0x2F), nil, false, "Have a workshop look at it soon.", true},
		{"came and went, of an airbag", "U0151-00", status(0x22), nil, false, "Have a workshop look at it soon.", true},
		{"stored, of an airbag", "U0151", nil, []string{"stored"}, false, "Have a workshop look at it soon.", true},
		{"not known, of an airbag", "U0151", nil, nil, false, "Have a workshop look at it soon.", true},
		{"remembered, of the fuel gauge", "P0460-00", status(0x28), nil, false, "Nothing shows that it is there now.", false},
		{"waiting, of the fuel gauge", "P0460", nil, []string{"pending"}, false, "Nothing shows that it is there now.", false},
		{"now, of the fuel gauge", "P0460-00", status(0x2F), nil, false, "Note it, and have it looked at when it suits.", false},
		{"came and went, of the fuel gauge", "P0460-00", status(0x22), nil, false, "Note it, and have it looked at when it suits.", false},
		{"remembered, of isolation", "P0AA6-00", status(0x28), nil, true, "Have a workshop look at it soon.", true},
		{"now, of isolation", "P0AA6-00", status(0x2F), nil, false, "Do not drive.", true},
		{"not tested yet, of isolation", "P0AA6-00", status(0x50), nil, false, "Wait for a result", false},
		{"now, of a radio", "U0184-00", status(0x2F), nil, false, "No effect on driving is known.", false},
	} {
		d := dtc.Describe(code(t, c.code), c.status, 0xFF, c.lists)
		if strings.Contains(d.SeverityReason, serious) != c.serious || !strings.HasPrefix(d.Advice, c.advice) || strings.Contains(d.ErasingText, workshop) != c.workshop {
			t.Errorf("%s: %s / %s / %s", c.name, d.SeverityReason, d.Advice, d.ErasingText)
		}
	}
}

// Who decides is told by the first digit, or by two where the first is split.
func TestDigitsThatDecide(t *testing.T) {
	for name, want := range map[string]string{"P0301": " 0 means ", "P1D5A": " 1 means ", "P3001": " 30 means ", "P3401": " 34 means ", "P3A00": " 3A is ",
		"U3003": " 30 means ", "U3100": " 31 is ", "C3000": " 3 is ", "B3000": " 3 is ", "P2000": " 2 means "} {
		if d := dtc.Describe(code(t, name), nil, 0xFF, nil); !strings.Contains(d.Letters, want) {
			t.Errorf("%s: %q lacks %q", name, d.Letters, want)
		}
	}
}

// A failure type that lists contradict each other on is no source, and adds nothing to the line.
func TestUncertainFailureType(t *testing.T) {
	d := dtc.Describe(code(t, "P0301-99"), nil, 0xFF, nil)
	if strings.Contains(d.Source, "99") || !strings.Contains(d.FailureText, "not certain") || strings.Contains(d.Letters, "99 is standard") || d.Line != "Misfire in cylinder 1." {
		t.Errorf("%q, %q, letters %q, source %q", d.Line, d.FailureText, d.Letters, d.Source)
	}
	if d := dtc.Describe(code(t, "P0301-13"), nil, 0xFF, nil); !strings.Contains(d.Source, "Failure type 13: SAE J2012.") {
		t.Errorf("source %q", d.Source)
	}
}

// "Not known" is not "no": a bit outside the mask is null.
func TestDescriptionJSON(t *testing.T) {
	b, err := json.Marshal(dtc.Describe(code(t, "U0140-87"), status(0x28), 0x7F, nil))
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]any{"code": "U0140", "failureType": "87", "origin": "standard", "system": "network", "known": true,
		"failureText": "message missing", "verdict": "remembered-passed", "severity": "WATCH", "erasing": "yes"} {
		if got[key] != want {
			t.Errorf("%s is %v, want %v", key, got[key], want)
		}
	}
	bits, ok := got["status"].(map[string]any)
	if !ok || bits["confirmedDTC"] != true || bits["testFailed"] != false || bits["warningIndicatorRequested"] != nil || bits["byte"] != "28" {
		t.Errorf("status %v", got["status"])
	}
	if d := dtc.Describe(code(t, "P0301"), nil, 0xFF, []string{"stored"}); d.Status != nil || d.Verdict != "stored" || d.FailureType != "" || d.ThereNow {
		t.Errorf("a code of an OBD list: %+v", d)
	}
}

// No description promises anything: of every code with a meaning and of a sample of the others, in several states.
func TestWords(t *testing.T) {
	never := []string{"safe", "fixed", " ok ", " ok.", " ok,"}
	for v := range 65536 {
		for _, s := range []*dtc.Status{nil, status(0x2F), status(0x28), status(0x50)} {
			if _, known := dtc.From2(byte(v>>8), byte(v)).Meaning(); !known && v%97 != 0 {
				continue
			}
			d := dtc.Describe(dtc.From3(byte(v>>8), byte(v), byte(v)), s, 0xFF, nil)
			text := strings.Join([]string{d.Meaning, d.FailureText, d.Letters, d.Area, d.VerdictText, d.SeverityReason, d.Advice, d.ErasingText, d.Source}, " ")
			for _, word := range never {
				if strings.Contains(strings.ToLower(text), word) {
					t.Fatalf("%s says %q: %s", d.Code, word, text)
				}
			}
			if d.Area == "" || d.Meaning == "" || d.System == "" || strings.Contains(text, "{part}") || strings.Contains(text, "  ") {
				t.Fatalf("%s: %+v", d.Code, d)
			}
		}
	}
	if d := dtc.Describe(dtc.Code{}, nil, 0xFF, nil); d.Meaning != "No code." {
		t.Errorf("the zero code: %q", d.Meaning)
	}
}

// Bits of the severity byte: the documentation of py-uds and python-udsoncan.
func TestCarJudgement(t *testing.T) {
	for b, want := range map[byte]string{
		0x00: "", 0x01: "", 0x20: "The car's own judgement: it concerns maintenance only.", 0x40: "The car's own judgement: check it at the next halt.",
		0x80: "The car's own judgement: check it at once.", 0xE0: "The car's own judgement: check it at once.",
		0x02: "The car's own judgement: emission class A.", 0x44: "The car's own judgement: check it at the next halt; emission class B1.",
		0x28: "The car's own judgement: it concerns maintenance only; emission class B2.", 0x90: "The car's own judgement: check it at once; emission class C.",
		0x06: "", // two classes at once say nothing
	} {
		if got := dtc.CarJudgement(b); got != want {
			t.Errorf("%02X: %q, want %q", b, got, want)
		}
	}
}

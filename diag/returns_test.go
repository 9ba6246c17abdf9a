package diag

import (
	"slices"
	"strings"
	"testing"
	"time"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/trend"
)

// past builds the history of one code of one module from marks, one a visit: day, and what the visit says of it.
// "-" the list was read without it, "." the module was not read, "x" there now, "o" remembered, "n" listed without a
// result since the erase, "p" listed, tested and passed since the erase, "?" listed by a module that tells no status.
func past(a link.Address, c dtc.Code, start time.Time, marks ...string) garage.History {
	h := garage.History{Codes: []garage.CodeLine{{Module: "Charging", Address: a, Code: c}}}
	status := map[byte]dtc.Status{'x': 0x2F, 'o': 0x08, 'n': 0x50, 'p': 0x00}
	for i, m := range marks {
		day, sign, _ := strings.Cut(m, " ")
		at, err := time.ParseDuration(day + "h")
		if err != nil {
			panic(err)
		}
		h.Visits = append(h.Visits, garage.Summary{ID: int64(i + 1), Begun: start.Add(24 * at)})
		mark := garage.Mark{Read: garage.Yes}
		switch sign {
		case ".":
			mark.Read = garage.Silent
		case "-":
		case "?":
			mark.Listed, mark.Present = true, true
		default:
			s := status[sign[0]]
			mark.Listed, mark.Status, mark.Present, mark.Now = true, &s, s.Faulty(0xFF), s&dtc.TestFailed != 0
		}
		h.Codes[0].Marks = append(h.Codes[0].Marks, mark)
	}
	return h
}

var (
	flap      = dtc.From3(0x1D, 0x5A, 0x13)
	charging  = link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	firstLook = time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
)

func erase(request string, day float64) garage.Entry {
	return garage.Entry{Request: request, Outcome: garage.Accepted, Begun: firstLook.Add(time.Duration(day * 24 * float64(time.Hour)))}
}

func TestFindReturns(t *testing.T) {
	const all = "7E5#0414FFFFFF555555"
	for _, c := range []struct {
		name    string
		marks   []string
		journal []garage.Entry
		days    []float64 // when it was found anew
		verdict trend.Verdict
		says    string
	}{
		{"never gone", []string{"0 x", "10 x", "20 o"}, nil, []float64{0}, trend.Never, "Found once"},
		{"comes and goes", []string{"0 -", "30 x", "40 -", "70 o"}, nil, []float64{30, 70}, trend.TooFew, "Found twice, 40 days apart. That is too few"},
		{"a visit that did not read it says nothing", []string{"0 x", "10 .", "20 x"}, nil, []float64{0}, trend.Never, "once"},
		{"erased, and there again", []string{"0 x", "1 x", "9 x"}, []garage.Entry{erase(all, 0.5)}, []float64{0, 1}, trend.TooFew, "Found twice, 24 h apart"},
		{"an erase of another module", []string{"0 x", "1 x"}, []garage.Entry{erase("726#0414FFFFFF555555", 0.5)}, []float64{0}, trend.Never, "once"},
		{"an erase of all modules at once", []string{"0 x", "1 x"}, []garage.Entry{erase("7DF#0104555555555555", 0.5)}, []float64{0, 1}, trend.TooFew, "twice"},
		{"an erase that was refused", []string{"0 x", "1 x"}, []garage.Entry{{Request: all, Outcome: garage.Declined, Begun: firstLook.Add(time.Hour)}}, []float64{0}, trend.Never, "once"},
		{"erased and not tested yet", []string{"0 x", "1 n", "9 p"}, []garage.Entry{erase(all, 0.5)}, []float64{0}, trend.Never, "once"},
		{"faster and faster", []string{"0 -", "146 x", "150 -", "201 x", "210 -", "241 x", "245 -", "260 x", "269 x"}, nil, []float64{146, 201, 241, 260}, trend.Faster, "Found 4 times. The gaps were 55 days, 40 days, 19 days. It comes back faster and faster."},
		{"steadily", []string{"0 -", "40 x", "45 -", "80 x", "85 -", "120 x", "125 -", "160 x", "165 -", "200 -"}, nil, []float64{40, 80, 120, 160}, trend.Steady, "That shows no trend."},
	} {
		got := FindReturns(past(charging, flap, firstLook, c.marks...), c.journal)
		if len(got) != 1 {
			t.Fatalf("%s: %d codes", c.name, len(got))
		}
		var days []float64
		for _, s := range got[0].Seen {
			days = append(days, s.Sub(firstLook).Hours()/24)
		}
		if !slices.Equal(days, c.days) || got[0].Verdict != c.verdict || !strings.Contains(got[0].Text, c.says) || len(got[0].Marks) != len(c.marks) {
			t.Errorf("%s: found anew on %v, %s: %q", c.name, days, got[0].Verdict, got[0].Text)
		}
	}
}

func TestProofOf(t *testing.T) {
	since := firstLook.Add(12 * time.Hour)
	for _, c := range []struct {
		name      string
		marks     []string
		available dtc.Status
		want      Proof
	}{
		{"no reading since", []string{"0 x"}, 0xFF, Unclear},
		{"not tested yet", []string{"0 x", "1 n", "2 n"}, 0xFF, NoSign},
		{"tested once", []string{"0 x", "1 n", "2 p"}, 0xFF, NoSign},
		{"tested and passed twice", []string{"0 x", "1 p", "2 p"}, 0xFF, Proven},
		{"two readings in one minute count once", []string{"0 x", "1 p", "1.0005 p"}, 0xFF, NoSign},
		{"back", []string{"0 x", "1 p", "2 p", "3 x"}, 0xFF, Back},
		{"no longer listed", []string{"0 x", "1 -", "2 -", "3 -"}, 0xFF, NoSign},
		{"the module does not tell what it has tested", []string{"0 x", "1 p", "2 p"}, 0xAF, NoSign},
		{"nor what has failed", []string{"0 x", "1 p", "2 p"}, 0xDF, NoSign},
		{"the module was silent", []string{"0 x", "1 .", "2 ."}, 0xFF, Unclear},
		{"a list without status", []string{"0 ?", "1 ?"}, 0xFF, Back},
		{"gone from a list without status", []string{"0 ?", "1 -"}, 0xFF, NoSign},
		{"silent, then back", []string{"0 x", "1 .", "2 x"}, 0xFF, Back},
	} {
		h := past(charging, flap, firstLook, c.marks...)
		if got := proofOf(h, charging, flap, since, c.available); got != c.want {
			t.Errorf("%s: %s, not %s", c.name, got, c.want)
		}
	}
	if got := proofOf(garage.History{}, charging, flap, since, 0xFF); got != Unclear {
		t.Errorf("a code that was never there is %s", got)
	}
}

// TestProofs: the faults of the record before an erase are judged, of the modules that it reached, and nothing else.
func TestProofs(t *testing.T) {
	fault, untested := dtc.Status(0x2F), dtc.Status(0x50)
	other := dtc.From3(0x00, 0x01, 0x00)
	module := func(name string, a link.Address, read garage.Answered) garage.Module {
		return garage.Module{Name: name, Address: a, CodesRead: read, Codes: []garage.CodeRecord{{Code: flap, Status: &fault}, {Code: other, Status: &untested}}}
	}
	brakes := link.Physical(link.ID11(0x726), link.ID11(0x72E))
	before := garage.Visit{Modules: []garage.Module{module("Charging", charging, garage.Yes), module("Brakes", brakes, garage.Yes)}}
	at := firstLook.Add(12 * time.Hour)
	for _, c := range []struct {
		name, request string
		outcome       garage.Outcome
		read          garage.Answered
		want          []string
	}{
		{"one module", charging.Request.String() + "#0414FFFFFF555555", garage.Accepted, garage.Yes, []string{"Charging " + flap.String() + " back"}},
		{"all modules", "7DF#0104555555555555", garage.Accepted, garage.Yes, []string{"Charging " + flap.String() + " back", "Brakes " + flap.String() + " unknown"}},
		{"refused", charging.Request.String() + "#0414FFFFFF555555", garage.Declined, garage.Yes, nil},
		{"a list that was not read", charging.Request.String() + "#0414FFFFFF555555", garage.Accepted, garage.Damaged, nil},
	} {
		before.Modules[0].CodesRead = c.read
		var got []string
		for _, p := range proofs(past(charging, flap, firstLook, "0 x", "1 p", "2 x"), before, garage.Entry{Request: c.request, Outcome: c.outcome, Begun: at}) {
			got = append(got, p.Module+" "+p.Code+" "+string(p.Proof))
			if p.Text == "" {
				t.Errorf("%s: no words for %s", c.name, p.Proof)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestProofPlan(t *testing.T) {
	status := dtc.Status(0x2F)
	steps := func(m garage.Module) (names []string) {
		last := firstLook
		for _, p := range proofPlan([]garage.Module{m}, firstLook) {
			names = append(names, p.Step)
			if !p.Due.After(last) {
				t.Errorf("%s is due at %s, not after the step before it", p.Step, p.Due)
			}
			last = p.Due
			if g := GuideOf(p.Step); g.When == "" || g.Do == "" || g.Why == "" {
				t.Errorf("%s has no guide", p.Step)
			}
		}
		return names
	}
	body := garage.Module{Name: "Body", Codes: []garage.CodeRecord{{Code: dtc.From3(0x9A, 0x14, 0x15), Status: &status}}}
	if got := steps(body); !slices.Equal(got, []string{"R1", "R2", "R3", "R6", "R4", "R6+"}) {
		t.Errorf("the plan is %v", got)
	}
	body.Name = "Charging"
	if got := steps(body); !slices.Contains(got, "R5") {
		t.Errorf("a charging code has the plan %v", got)
	}
	body.Codes = nil
	if got := steps(body); slices.Contains(got, "R5") {
		t.Errorf("without a charging code the plan is %v", got)
	}
	if g := GuideOf("R9"); g.Do != "" {
		t.Errorf("a step that is not known has the guide %+v", g)
	}
}

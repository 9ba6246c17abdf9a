package app

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"readback/diag"
	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
)

// keptLog is a logbook with one car that was read over a year: a flap lock fault that comes back faster and faster,
// two codes of a flat battery, and an erase with its proof.
func keptLog() *fakeLog {
	l := &fakeLog{garage: []garage.Car{{ID: 1, Name: "Blue Tarn van", VIN: "0TNCE23E3P0004217", Model: "Tarn Courier E"}, {ID: 2, Name: "Practice car", Practice: true}}}
	days := []int{-270, -124, -120, -69, -60, -29, -25, -10, -1}
	signs := map[string]string{"P1D5A-13": "-x-x-x-xx", "U0140-87": "------o--", "U0293-00": "------o--"}
	for i, d := range days {
		l.visits = append(l.visits, garage.Summary{ID: int64(i + 1), CarID: 1, Kind: garage.KindLook, Begun: begin.AddDate(0, 0, d), Ended: begin.AddDate(0, 0, d).Add(time.Minute), Complete: i != 4, Modules: 11, Codes: 3, Now: 1})
	}
	l.visits[7].Kind = garage.KindReadBack
	h := garage.History{Visits: append([]garage.Summary{}, l.visits...)}
	for _, c := range []dtc.Code{dtc.From3(0x1D, 0x5A, 0x13), dtc.From3(0xC1, 0x40, 0x87), dtc.From3(0xC2, 0x93, 0)} {
		line := garage.CodeLine{Module: "Charging", Address: link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), Code: c}
		for _, s := range signs[c.String()] {
			m := garage.Mark{Read: garage.Yes}
			switch s {
			case 'x':
				m.Listed, m.Present, m.Now, m.Status = true, true, true, status(0x2F)
			case 'o':
				m.Listed, m.Present, m.Status = true, true, status(0x28)
			}
			line.Marks = append(line.Marks, m)
		}
		h.Codes = append(h.Codes, line)
	}
	l.history = h
	for i, j := 0, len(l.visits)-1; i < j; i, j = i+1, j-1 { // the list is newest first
		l.visits[i], l.visits[j] = l.visits[j], l.visits[i]
	}
	sent := begin.AddDate(0, 0, -10).Add(-time.Minute)
	l.journal = []garage.Entry{{ID: 5, CarID: 1, Before: 7, ReadBack: 8, Request: "7E5#0414FFFFFF555555", Outcome: garage.Accepted, Begun: sent}}
	for i, step := range []string{"R1", "R2", "R3", "R6", "R6+"} {
		p := garage.ProofStep{ID: int64(i + 1), Entry: 5, CarID: 1, Step: step, Due: sent.AddDate(0, 0, 3*i)}
		if i == 0 {
			p.Visit, p.Done = 8, sent.Add(time.Minute)
		}
		l.proof = append(l.proof, p)
	}
	l.proof[2].Left = true
	before := garage.Module{Name: "Charging", Address: h.Codes[0].Address, CodesRead: garage.Yes, Availability: status(0xFF)}
	for i, s := range []dtc.Status{0x2F, 0x28, 0x28} {
		before.Codes = append(before.Codes, garage.CodeRecord{Code: h.Codes[i].Code, Status: status(s)})
	}
	l.whole = map[int64]garage.Visit{7: {ID: 7, CarID: 1, Modules: []garage.Module{before}}}
	l.reports = []garage.Report{{ID: 1, CarID: 1, Visit: 8, Made: begin.AddDate(0, 0, -9), Form: "pdf", Shared: true, Digest: garage.Hex(strings.Repeat("\x5a", 32))}}
	return l
}

func previewed(_ context.Context, visit int64, o diag.ReportOptions) (diag.Preview, error) {
	p := diag.Preview{Title: "Trouble codes", Sections: []diag.PreviewSection{{Title: "Car", Lines: []string{"Identification number · 0TNCE23E3P0004217"}}, {Title: "Codes", Lines: []string{"Charging · P1D5A-13 · 1D 5A 13 · 2F & FF · There now."}}}}
	if o.Shared {
		p.Sections[0].Lines[0] = "Identification number · 0TNCE23E*P*******"
		p.Removed = []string{"identification number: 1", "names: 3"}
	}
	return p, nil
}

func (b *bench) logbook() {
	b.t.Helper()
	b.w.engine.Preview = previewed
	b.w.Show(PageLogbook)
	b.until("read", func() bool { return b.w.logs.book.car.ID != 0 })
}

func TestLogbook(t *testing.T) {
	b := newBench(t, setup{log: keptLog()})
	b.logbook()
	b.says("Blue Tarn van", "Practice car (practice)", "P1D5A-13", "Found 4 times. The gaps were 55 days, 40 days, 19 days. It comes back faster and faster.",
		"The same day", "due now", "left out", "visit 8 · To be shared", "Show 2 more")
	b.saysNot("Found once so far.")
	b.tap("all-codes")
	b.says("U0293-00", "Found once so far.")
	if !strings.Contains(reads(b.w.rail.Object), "Logbook (2 due)") {
		t.Errorf("the rail says %q", reads(b.w.rail.Object))
	}
	b.tap("proof 2")
	b.until("done", func() bool { b.log.mu.Lock(); defer b.log.mu.Unlock(); return !b.log.proof[1].Done.IsZero() })
	if p := b.log.proof[1]; p.Visit != 9 {
		t.Errorf("the step was taken from visit %d", p.Visit)
	}
	b.tap("leave 4")
	b.until("left out", func() bool { return len(b.w.logs.due) == 0 })
}

// TestProofSaysWhatItRestsOn: beside the readings that follow an erase stands what they say of each code that was there
// before it: the flap lock failed again, the others were not tested often enough. The step that was taken says what it shows.
func TestProofSaysWhatItRestsOn(t *testing.T) {
	for language, want := range map[string][]string{
		"en": {"What the readings since show", "It has failed again since", "Not back so far; it has not been tested often enough", "A code that is there again at once is a fault of today."},
		"de": {"Was das Lesen seither zeigt", "Seither wieder aufgetreten", "Bisher nicht zurück; für mehr wurde zu selten geprüft"},
	} {
		b := newBench(t, setup{log: keptLog(), language: language})
		b.logbook()
		b.says(want...)
		card := reads(b.w.provenCodes())
		for _, code := range []string{"P1D5A-13", "U0140-87", "U0293-00"} {
			if !strings.Contains(card, code) {
				t.Errorf("%s: %s is not judged: %s", language, code, card)
			}
		}
	}
}

func TestReportForm(t *testing.T) {
	b := newBench(t, setup{log: keptLog()})
	b.logbook()
	var wrote []diag.ReportOptions
	fail := errors.New("no room on the disk")
	b.w.engine.WriteReport = func(_ context.Context, visit int64, path string, o diag.ReportOptions) (garage.Report, error) {
		wrote = append(wrote, o)
		if len(wrote) == 1 {
			return garage.Report{}, fail
		}
		return garage.Report{Digest: garage.Hex{0xAB}}, os.WriteFile(path, []byte("new"), 0o600)
	}
	path := filepath.Join(t.TempDir(), "report.pdf")
	if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	holds := func(want string) {
		t.Helper()
		if got, err := os.ReadFile(path); string(got) != want || err != nil {
			t.Errorf("the file holds %q, %v; want %q", got, err, want)
		}
	}
	b.tap("report 8")
	b.until("preview", func() bool { return b.w.logs.report.preview.Title != "" })
	b.says("Report of visit 8", "0TNCE23E3P0004217")
	b.tap("report.shared")
	b.until("preview", func() bool { return len(b.w.logs.report.preview.Removed) == 2 })
	b.says("2 kinds of things are left out", "names: 3", "0TNCE23E*P*******")
	b.saysNot("0TNCE23E3P0004217")
	var kept Taste
	b.w.opt.Keep = func(t Taste) { kept = t }
	for _, c := range [][2]string{{"de", "de"}, {"en", ""}, {"de", "de"}} { // that of the window is not kept: it may change
		b.tap("report-in " + c[0])
		if o := b.w.reportOptions(); o.Language != c[0] || kept.Report != c[1] {
			t.Errorf("the report is in %q, kept is %q", o.Language, kept.Report)
		}
	}
	b.w.writeReport(8, path, b.w.reportOptions())
	b.until("failed", func() bool { return b.w.logs.report.err != nil })
	b.w.logs.cars = nil
	b.w.readLogbook()
	b.until("read", func() bool { return b.w.logs.cars != nil })
	b.says("no room on the disk") // the reason stays
	holds("old")
	b.w.writeReport(8, path, b.w.reportOptions())
	b.until("written", func() bool { return b.w.logs.said != "" })
	holds("new")
	b.says("report.pdf is written. SHA-256 AB")
	if !wrote[1].Shared || wrote[1].Language != "de" {
		t.Error("the report was not written as a shared one in German")
	}
}

func TestEmptyLogbook(t *testing.T) {
	b := newBench(t, setup{})
	b.w.Show(PageLogbook)
	b.says("The logbook is empty")
}

// Two readings within minutes: no minute is written twice under the line.
func TestAxisWritesNoMinuteTwice(t *testing.T) {
	from := time.Date(2026, 3, 1, 15, 46, 0, 0, time.Local)
	for _, c := range []struct {
		span time.Duration
		want int
	}{{0, 1}, {time.Second, 1}, {2 * time.Minute, 3}, {time.Hour, 4}} {
		labels := axisLabels(from, from.Add(c.span))
		if len(labels) != c.want {
			t.Errorf("over %s: %v, want %d labels", c.span, labels, c.want)
		}
	}
}

package gate

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"readback/diag/explain"
	"readback/diag/link"
)

func latchOf(t *testing.T, lines []Latch, k Key) Latch {
	t.Helper()
	i := slices.IndexFunc(lines, func(l Latch) bool { return l.Key == k })
	if i < 0 {
		t.Fatalf("no latch %s", k)
	}
	return lines[i]
}

func TestTheOrderOfTheLatches(t *testing.T) {
	keys := func(id link.ID) []Key {
		var out []Key
		for _, l := range Line(explain.ExplainFrame(id, []byte{4, 0x14, 0xFF, 0xFF, 0xFF}, explain.Options{}), State{}, "", t0) {
			out = append(out, l.Key)
		}
		return out
	}
	one := []Key{Standing, DriveOff, SupplyGood, NotCharging, RecordSaved, SafetyRead, SaidBack}
	all := []Key{Standing, DriveOff, SupplyGood, NotCharging, RecordSaved, SafetyRead, Reach, SaidBack}
	if got := keys(link.ID11(0x7E5)); !slices.Equal(got, one) {
		t.Errorf("one module: %v", got)
	}
	for _, id := range []link.ID{link.ID11(0x7DF), link.ID29(0x18DB33F1)} {
		if got := keys(id); !slices.Equal(got, all) {
			t.Errorf("%s: %v", id, got)
		}
	}
}

// The zero state knows nothing: no latch is in line, and only what can't be measured can be said.
func TestNothingKnown(t *testing.T) {
	_, e := clearing()
	for _, l := range Line(e, State{}, "", t0) {
		canSay := l.Key == Standing || l.Key == DriveOff || l.Key == SupplyGood || l.Key == NotCharging
		if l.InLine || l.CanSay != canSay || l.Why == "" || l.Title == "" || !l.At.IsZero() {
			t.Errorf("%+v", l)
		}
	}
	for _, l := range Line(explain.Explanation{}, ready(t0), "maple", t0) {
		if l.Key == SaidBack && l.InLine {
			t.Errorf("there is no request to say back: %+v", l)
		}
	}
}

func TestMeasuredValues(t *testing.T) {
	_, e := clearing()
	read := func(v float64, age time.Duration) *Reading {
		return &Reading{Value: v, At: t0.Add(-age), Source: Measured}
	}
	for _, c := range []struct {
		name   string
		set    func(*State)
		key    Key
		inLine bool
		canSay bool
		why    string
	}{
		{"standing", func(s *State) { s.Speed = read(0, 0) }, Standing, true, false, "before sending it is measured again"},
		{"10 s old", func(s *State) { s.Speed = read(0, 10*time.Second) }, Standing, true, false, "10 s ago"},
		{"older than 10 s", func(s *State) { s.Speed = read(0, 10*time.Second+1) }, Standing, false, false, "too old"},
		{"from the future", func(s *State) { s.Speed = read(0, -2*time.Second) }, Standing, false, false, "still to come"},
		{"rolling", func(s *State) { s.Speed = read(1, 0) }, Standing, false, false, "stop it"},
		{"backwards", func(s *State) { s.Speed = read(-3, 0) }, Standing, false, false, "stop it"},
		{"no number", func(s *State) { s.Speed = read(math.NaN(), 0) }, Standing, false, false, "no sense"},
		{"endless", func(s *State) { s.Motor = read(math.Inf(1), 0) }, DriveOff, false, false, "no sense"},
		{"motor turns", func(s *State) { s.Motor = read(700, 0) }, DriveOff, false, false, "switch the drive off"},
		{"motor stands, drive on", func(s *State) { s.Motor, s.RunTime = read(0, 0), read(34, 0) }, DriveOff, false, false, "switch the drive off"},
		{"motor stands, drive off", func(s *State) { s.Motor, s.RunTime = read(0, 0), read(0, 0) }, DriveOff, true, false, "says so"},
		{"time alone, off", func(s *State) { s.Motor, s.RunTime = nil, read(0, 0) }, DriveOff, true, false, "says so"},
		{"time alone, on", func(s *State) { s.Motor, s.RunTime = nil, read(1, 0) }, DriveOff, false, false, "switch the drive off"},
		{"time too old", func(s *State) { s.RunTime = read(0, time.Minute) }, DriveOff, false, false, "too old"},
		{"charging", func(s *State) { s.Charging = read(1, 0) }, NotCharging, false, false, "take the cable out"},
		{"said, but it moves", func(s *State) { s.Speed, s.Said = read(5, 0), map[Key]time.Time{Standing: t0} }, Standing, false, false, "stop it"},
		{"said, but it charges", func(s *State) { s.Charging, s.Said = read(1, 0), map[Key]time.Time{NotCharging: t0} }, NotCharging, false, false, "take the cable out"},
		{"said, but measured too long ago", func(s *State) { s.Speed, s.Said = read(0, time.Minute), map[Key]time.Time{Standing: t0} }, Standing, false, false, "too old"},
	} {
		s := ready(t0)
		c.set(&s)
		l := latchOf(t, Line(e, s, "", t0), c.key)
		if l.InLine != c.inLine || l.CanSay != c.canSay || !strings.Contains(l.Why, c.why) {
			t.Errorf("%s: %+v", c.name, l)
		}
	}
}

func TestTheOwnersStatements(t *testing.T) {
	_, e := clearing()
	for _, k := range []Key{Standing, DriveOff, SupplyGood, NotCharging} {
		for _, c := range []struct {
			said   time.Time
			inLine bool
		}{{time.Time{}, false}, {t0, true}, {t0.Add(-5 * time.Minute), true}, {t0.Add(-5*time.Minute - 1), false}, {t0.Add(time.Hour), false}} {
			s := State{Said: map[Key]time.Time{k: c.said}}
			l := latchOf(t, Line(e, s, "", t0), k)
			if l.InLine != c.inLine || !l.CanSay || c.inLine && (l.Source != Owner || !l.At.Equal(c.said)) {
				t.Errorf("%s said at %s: %+v", k, c.said, l)
			}
		}
	}
	// Statements about what the program knows itself close nothing.
	s := State{Said: map[Key]time.Time{RecordSaved: t0, SafetyRead: t0, SaidBack: t0}}
	for _, k := range []Key{RecordSaved, SafetyRead, SaidBack} {
		if l := latchOf(t, Line(e, s, "", t0), k); l.InLine {
			t.Errorf("%s can't be said: %+v", k, l)
		}
	}
}

// Limits: common workshop practice; below 12.2 no, 12.2-12.4 with the owner's acceptance, 12.4-14.8 yes (fed supplies
// only when drive and charging are off, or a charger is said to be connected), from 14.8 no.
func TestTheSupply(t *testing.T) {
	_, e := clearing()
	for _, c := range []struct {
		volts        float64
		plain        bool // in line without a statement, drive off and not charging
		accepted     bool // in line with one
		fedWhileOpen bool // in line without one while it is not known whether it charges
	}{
		{0, false, false, false}, {11.4, false, false, false}, {12.19, false, false, false},
		{12.2, false, true, false}, {12.39, false, true, false},
		{12.4, true, true, true}, {12.7, true, true, true}, {13.19, true, true, true},
		{13.2, true, true, false}, {14.4, true, true, false}, {14.79, true, true, false},
		{14.8, false, false, false}, {15.2, false, false, false}, {24, false, false, false},
		{math.NaN(), false, false, false}, {-12.6, false, false, false},
	} {
		s := ready(t0)
		s.Supply = &Reading{Value: c.volts, At: t0, Source: Measured}
		plain := latchOf(t, Line(e, s, "", t0), SupplyGood)
		s.Said = map[Key]time.Time{SupplyGood: t0.Add(-time.Minute)}
		accepted := latchOf(t, Line(e, s, "", t0), SupplyGood)
		s.Said, s.Charging = nil, nil
		open := latchOf(t, Line(e, s, "", t0), SupplyGood)
		if plain.InLine != c.plain || accepted.InLine != c.accepted || open.InLine != c.fedWhileOpen {
			t.Errorf("%.2f V: %v %v %v: %s", c.volts, plain.InLine, accepted.InLine, open.InLine, plain.Why)
		}
		if plain.CanSay != (c.accepted && !c.plain) {
			t.Errorf("%.2f V: can say %v", c.volts, plain.CanSay)
		}
		if open.CanSay != (c.accepted && !c.fedWhileOpen) {
			t.Errorf("%.2f V while it is not known whether it charges: can say %v", c.volts, open.CanSay)
		}
	}
	s := ready(t0)
	s.Supply = &Reading{Value: 12.3, At: t0, Source: Measured}
	s.Said = map[Key]time.Time{SupplyGood: t0.Add(-6 * time.Minute)}
	if l := latchOf(t, Line(e, s, "", t0), SupplyGood); l.InLine {
		t.Errorf("an acceptance of 6 minutes ago: %+v", l)
	}
}

func TestTheRecord(t *testing.T) {
	_, e := clearing()
	for _, c := range []struct {
		r      *RecordFacts
		inLine bool
		why    string
	}{
		{nil, false, "read the car first"},
		{&RecordFacts{At: t0, Complete: true, Codes: 1, Snapshots: 4, Modules: 11}, true, "1 code, 4 snapshots, 11 modules"},
		{&RecordFacts{At: t0.Add(-5 * time.Minute), Complete: true}, true, "0 codes"},
		{&RecordFacts{At: t0.Add(-5*time.Minute - 1), Complete: true}, false, "older than 5 minutes"},
		{&RecordFacts{At: t0}, false, "not complete"},
		{&RecordFacts{At: t0.Add(time.Hour), Complete: true}, false, "read the car again"},
		{&RecordFacts{Complete: true}, false, "read the car again"},
	} {
		l := latchOf(t, Line(e, State{Record: c.r}, "", t0), RecordSaved)
		if l.InLine != c.inLine || l.CanSay || !strings.Contains(l.Why, c.why) || l.Source != Program {
			t.Errorf("%+v: %+v", c.r, l)
		}
	}
	if l := latchOf(t, Line(e, ready(t0), "", t0), RecordSaved); l.Value != "today 14:02" {
		t.Errorf("value %q", l.Value)
	}
}

func TestSafetyModules(t *testing.T) {
	_, one := clearing()
	all := explain.ExplainFrame(link.ID11(0x7DF), []byte{4, 0x14, 0xFF, 0xFF, 0xFF}, explain.Options{})
	now := []string{"Brakes C0034-12"}
	for _, c := range []struct {
		name           string
		e              explain.Explanation
		f              SafetyFacts
		inLine, canSay bool
		why            string
	}{
		{"not read", one, SafetyFacts{}, false, false, "not all read"},
		{"not read, said to be read", one, SafetyFacts{Acknowledged: t0}, false, false, "not all read"},
		{"none there now", one, SafetyFacts{Read: true}, true, false, ""},
		{"none there now, all modules", all, SafetyFacts{Read: true}, true, false, ""},
		{"one there now", one, SafetyFacts{Read: true, Now: now}, false, true, "does not touch"},
		{"acknowledged", one, SafetyFacts{Read: true, Now: now, Acknowledged: t0}, true, true, "You have read it"},
		{"acknowledged 6 minutes ago", one, SafetyFacts{Read: true, Now: now, Acknowledged: t0.Add(-6 * time.Minute)}, false, true, "does not touch"},
		{"acknowledged before the last reading", one, SafetyFacts{Read: true, Now: now, Acknowledged: t0.Add(-3 * time.Minute)}, false, true, "read again"},
		{"all modules", all, SafetyFacts{Read: true, Now: now}, false, false, "workshop"},
		{"all modules, acknowledged", all, SafetyFacts{Read: true, Now: now, Acknowledged: t0}, false, false, "workshop"},
		{"to that module", one, SafetyFacts{Read: true, Now: now, Target: "Brakes"}, false, false, "workshop"},
		{"to that module, acknowledged", one, SafetyFacts{Read: true, Now: now, Target: "Brakes", Acknowledged: t0}, false, false, "workshop"},
		{"to another safety module", one, SafetyFacts{Read: true, Now: now, Target: "Airbag", Acknowledged: t0}, true, true, ""},
		{"to one whose name begins alike", one, SafetyFacts{Read: true, Now: now, Target: "Brake", Acknowledged: t0}, true, true, ""},
	} {
		s := ready(t0)
		s.Safety = c.f
		l := latchOf(t, Line(c.e, s, "", t0), SafetyRead)
		if l.InLine != c.inLine || l.CanSay != c.canSay || !strings.Contains(l.Why, c.why) {
			t.Errorf("%s: %+v", c.name, l)
		}
	}
	g := New(&wire{}, Options{})
	p := propose(t0)
	p.State.Safety = SafetyFacts{Read: true, Now: now}
	p.Message.Address, p.Explanation = link.Functional11(), explain.ExplainFrame(link.ID11(0x7DF), p.Message.Exact, explain.Options{})
	p.Words = p.Explanation.Words[0]
	p.State.Said = map[Key]time.Time{Reach: t0, SafetyRead: t0}
	p.State.Safety.Acknowledged = t0
	if _, err := g.Permit(p, t0); err == nil {
		t.Error("erasing everywhere passed although the brakes have a fault that is there now")
	}
	p.State.Safety.Now = nil
	if _, err := g.Permit(p, t0); err != nil {
		t.Errorf("without it: %v", err)
	}
	delete(p.State.Said, Reach)
	if _, err := g.Permit(p, t0); err == nil {
		t.Error("erasing everywhere passed although the owner has not seen where")
	}
}

func TestReach(t *testing.T) {
	all := explain.ExplainFrame(link.ID11(0x7DF), []byte{1, 4}, explain.Options{})
	s := ready(t0)
	if l := latchOf(t, Line(all, s, "", t0), Reach); l.InLine || !l.CanSay || !strings.Contains(l.Why, "Charging, Brakes") || l.Value != "2 modules" {
		t.Errorf("not said: %+v", l)
	}
	s.Said = map[Key]time.Time{Reach: t0}
	if l := latchOf(t, Line(all, s, "", t0), Reach); !l.InLine || l.Source != Owner {
		t.Errorf("said: %+v", l)
	}
	s.Reaches = nil
	if l := latchOf(t, Line(all, s, "", t0), Reach); l.InLine || l.CanSay {
		t.Errorf("said, but no module is known: %+v", l)
	}
}

func TestSaidBack(t *testing.T) {
	_, e := clearing()
	w := e.Words
	for _, c := range []struct {
		typed  string
		inLine bool
	}{
		{w[0], true}, {"  " + strings.ToUpper(w[0]) + " ", true}, {strings.Join(w[:], " "), true}, {strings.Join(w[:], " · "), true},
		{strings.Join(w[:], ","), true}, {strings.ToUpper(strings.Join(w[:], "-")), true},
		{"", false}, {w[0][:3], false}, {w[1], false}, {w[2], false}, {w[0] + " " + w[1], false}, {w[1] + " " + w[0] + " " + w[2], false},
		{strings.Join(w[:], " ") + " " + w[0], false}, {strings.Join(w[:], ""), false}, {"yes", false},
	} {
		if l := latchOf(t, Line(e, State{}, c.typed, t0), SaidBack); l.InLine != c.inLine || l.CanSay {
			t.Errorf("%q: %+v", c.typed, l)
		}
	}
}

// One walk through a gate: every latch closes in turn, and opens again when its time is over.
func TestLatchesCloseAndOpen(t *testing.T) {
	_, e := clearing()
	var s State
	words := ""
	open := func(now time.Time) (n int) {
		for _, l := range Line(e, s, words, now) {
			if !l.InLine {
				n++
			}
		}
		return n
	}
	at := func(d time.Duration) time.Time { return t0.Add(d) }
	steps := []struct {
		after time.Duration
		do    func(now time.Time)
		open  int
	}{
		{0, func(time.Time) {}, 7},
		{time.Second, func(n time.Time) { s.Record = &RecordFacts{At: n, Complete: true} }, 6},
		{2 * time.Second, func(time.Time) { s.Safety = SafetyFacts{Read: true, Now: []string{"Brakes C0034-12"}} }, 6},
		{3 * time.Second, func(n time.Time) { s.Safety.Acknowledged = n }, 5},
		{4 * time.Second, func(n time.Time) { s.Said = map[Key]time.Time{NotCharging: n} }, 4},
		{5 * time.Second, func(n time.Time) { s.Supply = &Reading{12.7, n, Measured} }, 3},
		{6 * time.Second, func(n time.Time) { s.Speed = &Reading{0, n, FromCar} }, 2},
		{7 * time.Second, func(n time.Time) { s.Motor = &Reading{0, n, FromCar} }, 1},
		{8 * time.Second, func(time.Time) { words = e.Words[0] }, 0},
		{15 * time.Second, func(time.Time) {}, 0},
		{16 * time.Second, func(time.Time) {}, 1},                                                                                   // supply too old
		{18 * time.Second, func(time.Time) {}, 3},                                                                                   // speed and motor too
		{19 * time.Second, func(n time.Time) { s.Supply.At, s.Speed.At, s.Motor.At = n, n, n }, 0},                                  // measured again
		{5*time.Minute + 2*time.Second, func(n time.Time) { s.Supply.At, s.Speed.At, s.Motor.At = n, n, n }, 1},                     // record too old
		{5*time.Minute + 5*time.Second, func(time.Time) {}, 3},                                                                      // statement and acknowledgement expired
		{5*time.Minute + 6*time.Second, func(n time.Time) { s.Record.At, s.Said[NotCharging], s.Safety.Acknowledged = n, n, n }, 0}, // done again
		{5*time.Minute + 7*time.Second, func(time.Time) { words = "yes" }, 1},                                                       // other words
	}
	for i, st := range steps {
		now := at(st.after)
		st.do(now)
		if got := open(now); got != st.open {
			t.Errorf("step %d, %s: %d latches open, want %d", i, st.after, got, st.open)
		}
	}
}

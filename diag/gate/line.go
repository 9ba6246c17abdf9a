package gate

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"readback/diag/explain"
)

const (
	measuredLife = 10 * time.Second // after this a measured value is too old
	saidLife     = 5 * time.Minute  // the owner's own statement
	recordLife   = 5 * time.Minute
)

// Line puts the latches of a request in order, each with its value, its age and where it comes from. It is pure.
func Line(e explain.Explanation, s State, words string, now time.Time) []Latch {
	return line(e, s, words, now, e.Frame != nil && everyone(e.Frame.ID))
}

func line(e explain.Explanation, s State, words string, now time.Time, all bool) []Latch {
	l := liner{s: s, now: now}
	standing, drive, charging := l.standing(), l.drive(), l.charging()
	out := []Latch{standing, drive, l.supply(drive.InLine && charging.InLine), charging, l.record(), l.safety(all)}
	if all {
		out = append(out, l.reach())
	}
	return append(out, saidBack(e, words))
}

type liner struct {
	s   State
	now time.Time
}

// measured fills a latch from a reading. fit is asked about fresh and finite values only.
func (l liner) measured(lt Latch, r *Reading, digits int, unit string, fit func(v float64) (bool, string)) Latch {
	if r == nil {
		return l.stated(lt)
	}
	lt.Source, lt.At, lt.Age = r.Source, r.At, l.now.Sub(r.At)
	lt.Value = strings.TrimSpace(fmt.Sprintf("%.*f %s", digits, r.Value, unit))
	switch {
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		lt.Value, lt.Why = "not a number", "the value makes no sense; it has to be measured again"
	case lt.Age > measuredLife || lt.Age < -time.Second:
		lt.Why = fmt.Sprintf("measured %s ago: too old, it has to be measured again", ago(lt.Age))
		if lt.Age < 0 {
			lt.Why = "measured at a time that is still to come: it has to be measured again"
		}
	default:
		lt.InLine, lt.Why = fit(r.Value)
		if lt.InLine && lt.Why == "" {
			lt.Why = fmt.Sprintf("measured %s ago; before sending it is measured again", ago(lt.Age))
		}
	}
	return lt
}

// stated fills a latch that can't be measured from the owner's statement.
func (l liner) stated(lt Latch) Latch {
	lt.CanSay = true
	at, ok := l.said(lt.Key)
	switch {
	case ok:
		lt.InLine, lt.Source, lt.At, lt.Age = true, Owner, at, l.now.Sub(at)
		lt.Value = "you say so"
		lt.Why = fmt.Sprintf("said by you %s ago; this car can't be asked", ago(lt.Age))
	case !at.IsZero():
		lt.Source, lt.At, lt.Age, lt.Value = Owner, at, l.now.Sub(at), "you said so"
		lt.Why = "you said so more than 5 minutes ago: look again, then say so again"
	default:
		lt.Source, lt.Value = Nothing, "not known"
		lt.Why = "this can't be measured now: look, then say so"
	}
	return lt
}

// said is when the owner made a statement, and whether it still holds.
func (l liner) said(k Key) (at time.Time, holds bool) {
	at = l.s.Said[k]
	return at, fresh(at, l.now, saidLife)
}

// fresh reports a time that is known, not to come, and not older than life.
func fresh(at, now time.Time, life time.Duration) bool {
	age := now.Sub(at)
	return !at.IsZero() && age >= -time.Second && age <= life
}

func ago(d time.Duration) string {
	d = max(d, 0)
	if d < time.Minute {
		return fmt.Sprintf("%d s", int(d.Seconds()))
	}
	return fmt.Sprintf("%d min", int(d.Minutes()))
}

func (l liner) standing() Latch {
	return l.measured(Latch{Key: Standing, Title: "The car is standing still"}, l.s.Speed, 0, "km/h", func(v float64) (bool, string) {
		if v != 0 {
			return false, "the car moves: stop it first"
		}
		return true, ""
	})
}

// drive: the motor turns at 0 rpm and, where the car tells it, the time since the drive was switched on is 0.
func (l liner) drive() Latch {
	lt := Latch{Key: DriveOff, Title: "The drive is off, the ignition is on"}
	off := func(v float64) (bool, string) {
		if v != 0 {
			return false, "switch the drive off and leave the ignition on"
		}
		return true, "a module says so"
	}
	motor, run := l.s.Motor, l.s.RunTime
	switch {
	case run == nil:
		return l.measured(lt, motor, 0, "rpm", off)
	case motor == nil:
		return l.measured(lt, run, 0, "s", off)
	}
	byMotor, byTime := l.measured(lt, motor, 0, "rpm", off), l.measured(lt, run, 0, "s since the start", off)
	if byMotor.InLine && !byTime.InLine {
		return byTime
	}
	return byMotor
}

func (l liner) charging() Latch {
	lt := l.measured(Latch{Key: NotCharging, Title: "The charging cable is out"}, l.s.Charging, 0, "", func(v float64) (bool, string) {
		if v != 0 {
			return false, "the car charges: end it and take the cable out"
		}
		return true, "a module says so"
	})
	if l.s.Charging != nil {
		switch l.s.Charging.Value {
		case 0:
			lt.Value = "not charging"
		case 1:
			lt.Value = "charging"
		}
	}
	return lt
}

func (l liner) record() Latch {
	lt := Latch{Key: RecordSaved, Title: "A full record is saved", Source: Program, Value: "none", Why: "read the car first: the record is your evidence"}
	r := l.s.Record
	if r == nil {
		return lt
	}
	lt.At, lt.Age, lt.Value = r.At, l.now.Sub(r.At), when(r.At, l.now)
	switch {
	case !r.Complete:
		lt.Why = "the last reading is not complete: read the car again"
	case !fresh(r.At, l.now, recordLife):
		lt.Why = "the last reading is older than 5 minutes: read the car again"
	default:
		lt.InLine = true
		lt.Why = fmt.Sprintf("%s, %s, %s", many(r.Codes, "code"), many(r.Snapshots, "snapshot"), many(r.Modules, "module"))
	}
	return lt
}

func many(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func when(at, now time.Time) string {
	at = at.In(now.Location())
	if at.YearDay() == now.YearDay() && at.Year() == now.Year() {
		return "today " + at.Format("15:04")
	}
	return at.Format("2006-01-02 15:04")
}

func (l liner) safety(all bool) Latch {
	f := l.s.Safety
	lt := Latch{Key: SafetyRead, Title: "No safety module has a fault that is happening now", Source: FromCar}
	if l.s.Record != nil {
		lt.At, lt.Age = l.s.Record.At, l.now.Sub(l.s.Record.At)
	}
	switch {
	case !f.Read:
		lt.Source, lt.Value, lt.Why = Nothing, "not known", "the safety modules were not all read: read the car first"
		return lt
	case len(f.Now) == 0:
		lt.InLine, lt.Value, lt.Why = true, "none", "airbag, brakes, steering and high voltage were read"
		return lt
	}
	lt.Value = many(len(f.Now), "code")
	names := strings.Join(f.Now, ", ")
	target := f.Target != "" && slices.ContainsFunc(f.Now, func(s string) bool { return s == f.Target || strings.HasPrefix(s, f.Target+" ") })
	lt.Title = "Safety modules have faults that are happening now"
	if len(f.Now) == 1 {
		lt.Title = "A safety module has a fault that is happening now"
	}
	acknowledged := fresh(f.Acknowledged, l.now, saidLife)
	switch {
	case all:
		lt.Why = names + ". This request would reach that module too. Leave it to a workshop, or ask one other module only"
	case target:
		lt.Why = names + ". This request goes to that module: its code is evidence. Leave it to a workshop"
	case acknowledged && l.s.Record != nil && f.Acknowledged.Before(l.s.Record.At):
		lt.CanSay = true
		lt.Why = names + ". The car was read again since you said so. Read the note again, then say so"
	case acknowledged:
		lt.InLine, lt.CanSay, lt.Source, lt.At, lt.Age = true, true, Owner, f.Acknowledged, l.now.Sub(f.Acknowledged)
		lt.Why = names + ". This request does not touch that module. You have read it"
	default:
		lt.CanSay = true
		lt.Why = names + ". This request does not touch that module. Read the note, then say so"
	}
	return lt
}

// reach: a request to all modules needs the owner to have seen which modules it reaches.
func (l liner) reach() Latch {
	lt := Latch{Key: Reach, Title: "You know which modules this reaches", Source: Nothing}
	if len(l.s.Reaches) == 0 {
		lt.Value, lt.Why = "not known", "no module has answered yet: read the car first"
		return lt
	}
	lt = l.stated(lt)
	lt.Value = many(len(l.s.Reaches), "module")
	names := strings.Join(l.s.Reaches, ", ")
	if lt.InLine {
		lt.Why = "seen by you: " + names
	} else {
		lt.Why = "it reaches " + names + ", and perhaps modules that did not answer. Read the list, then say so"
	}
	return lt
}

// saidBack: the first of the read-back words, or all three, whatever stands between them.
func saidBack(e explain.Explanation, words string) Latch {
	lt := Latch{Key: SaidBack, Title: "Say the request back", Source: Nothing, Why: "type the first of the three read-back words"}
	typed := strings.FieldsFunc(strings.ToLower(words), func(r rune) bool { return r < 'a' || r > 'z' })
	lt.Value = strings.Join(typed, " ")
	if e.Frame == nil {
		lt.Why = "there is no request yet"
		return lt
	}
	if len(typed) == 0 {
		return lt
	}
	lt.Source = Owner
	want := explain.Words(e.Frame.ID, e.Frame.Data)
	switch {
	case len(typed) == 1 && typed[0] == want[0]:
		lt.InLine, lt.Why = true, "this is the first word of this request"
		return lt
	case slices.Equal(typed, want[:]):
		lt.InLine, lt.Why = true, "these are the words of this request"
		return lt
	}
	lt.Why = "these are not the words of this request: compare it again"
	return lt
}

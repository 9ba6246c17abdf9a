package diag

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/trend"
)

// Returns are the times at which one code of one module was there again, and what can be said of them.
type Returns struct {
	Module  string        `json:"module"`
	Address link.Address  `json:"-"`
	Code    string        `json:"code"`
	Seen    []time.Time   `json:"seen"` // each time that it was found anew: the first time, and every return
	Marks   []ReturnMark  `json:"marks"`
	Verdict trend.Verdict `json:"trend"`
	Chance  float64       `json:"chance"`           // see [trend.Series.Chance]
	Beta    float64       `json:"growth,omitempty"` // of the power law, with the bias of few returns taken out; 0 when there is none
	Text    string        `json:"text"`
}

// ReturnMark is what one visit says of the code.
type ReturnMark struct {
	Visit   int64     `json:"visit"`
	At      time.Time `json:"at"`
	Read    bool      `json:"read"`    // the module let its list be read
	Present bool      `json:"present"` // it was there as a fault, now or remembered
	Now     bool      `json:"now"`
}

// FindReturns reads a car's history. A code returns when it is there in a visit after one in which its module's list
// was read without it, or after an erase that reached its module. Visits that did not read the module say nothing.
func FindReturns(h garage.History, journal []garage.Entry) []Returns {
	out := []Returns{}
	for _, line := range h.Codes {
		out = append(out, returnsOf(h.Visits, line, erasesOf(journal, line.Address)))
	}
	return out
}

// erasesOf are the times of the accepted changes that reached a module, whichever way they were asked.
func erasesOf(journal []garage.Entry, a link.Address) (times []time.Time) {
	for _, e := range journal {
		if e.Outcome == garage.Accepted && reached(e, a) {
			times = append(times, e.Begun)
		}
	}
	return times
}

// reached tells whether a change of the journal went to a module: to its own address, or to all.
func reached(e garage.Entry, a link.Address) bool {
	id, _, _ := strings.Cut(e.Request, "#")
	asked, err := link.ParseID(id)
	return err == nil && slices.Contains([]link.ID{a.Request, link.Functional11().Request, link.Functional29().Request}, asked)
}

func returnsOf(visits []garage.Summary, line garage.CodeLine, erases []time.Time) Returns {
	r := Returns{Module: line.Module, Address: line.Address, Code: line.Code.String(), Seen: []time.Time{}, Marks: []ReturnMark{}}
	last := -1 // the visit before this one in which the module was read
	for i, m := range line.Marks {
		v := visits[i]
		r.Marks = append(r.Marks, ReturnMark{Visit: v.ID, At: v.Begun, Read: m.Read == garage.Yes, Present: m.Present, Now: m.Now})
		if m.Read != garage.Yes {
			continue
		}
		if m.Present && (last < 0 || !line.Marks[last].Present || between(erases, visits[last].Begun, v.Begun)) {
			r.Seen = append(r.Seen, v.Begun)
		}
		last = i
	}
	r.judge(visits)
	return r
}

func between(times []time.Time, from, to time.Time) bool {
	for _, t := range times {
		if t.After(from) && t.Before(to) {
			return true
		}
	}
	return false
}

// judge fits the returns. Watching begins with the first visit, or with the first time the code was there: what was
// there then has not returned.
func (r *Returns) judge(visits []garage.Summary) {
	r.Verdict, r.Chance = trend.Never, 1
	if len(r.Seen) == 0 {
		return
	}
	begin, end := visits[0].Begun, visits[len(visits)-1].Begun
	returns := r.Seen
	if !r.Seen[0].After(begin) {
		returns = r.Seen[1:]
	}
	s, err := trend.New(begin, returns, end)
	if err == nil {
		r.Verdict, r.Chance = s.Verdict(), s.Chance()
		if f, ok := s.Unbiased(); ok {
			r.Beta = f.Beta
		}
	}
	r.Text = r.sentence()
}

// sentence says what the returns show, and no more than that.
func (r *Returns) sentence() string {
	n := len(r.Seen)
	if n == 1 {
		return "Found once so far."
	}
	var gaps []string
	for i := 1; i < n; i++ {
		gaps = append(gaps, daysOf(r.Seen[i].Sub(r.Seen[i-1])))
	}
	text := fmt.Sprintf("Found %d times. The gaps were %s.", n, strings.Join(gaps, ", "))
	if n == 2 {
		text = fmt.Sprintf("Found twice, %s apart.", gaps[0])
	}
	switch r.Verdict {
	case trend.Faster:
		return text + " It comes back faster and faster."
	case trend.Slower:
		return text + " It comes back more and more rarely."
	case trend.Steady:
		return text + " That shows no trend."
	}
	return text + " That is too few to tell a trend."
}

func daysOf(d time.Duration) string {
	switch days := int(math.Round(d.Hours() / 24)); {
	case d < time.Hour:
		return "less than an hour"
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(math.Round(d.Hours())))
	default:
		return fmt.Sprintf("%d days", days)
	}
}

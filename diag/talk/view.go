package talk

import (
	"encoding/hex"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"readback/diag/explain"
)

// Filter chooses rows. The zero Filter chooses all.
type Filter struct {
	Thread   int       // rows in which this thread was asked or has answered; 0 for all
	Outcomes []Outcome // one of these; none for all
	Class    explain.Class
	// Text is looked for in the words, the name of the module and the identifiers of a row, and in what has become of its
	// question, but not in times; hex digits, with or without blanks, also in its bytes. Capitals do not matter.
	Text string
	// Tell is how the texts of rows are shown: what stands in them in another language. nil is for as they are. It is asked
	// once for each text.
	Tell func(english string) string
	// ChangeMark is what is shown beside a question that asks for a change, to be found there.
	ChangeMark string
}

// View is a list of the rows that a Filter chooses. It holds four bytes a row, and none for the zero Filter.
type View struct {
	t     *Talk
	f     Filter
	all   bool
	text  string // lower case
	bytes []byte
	rows  []uint32
	from  uint32 // the first row that has to be looked at again
	buf   []byte

	marked bool            // the mark of a change has the text
	said   map[string]bool // of the texts that rows have in common: whether what is shown for them has the text
	ends   map[fate]bool   // the same of what has become of questions; nil when the text is none of it
}

// fate is what has become of a question, but for the time it took.
type fate struct {
	outcome        Outcome
	answers, waits int
}

// View makes a View of the rows that are there now; [View.Update] takes in what has come since.
func (t *Talk) View(f Filter) *View {
	v := &View{t: t, f: f, from: 1, text: strings.ToLower(strings.TrimSpace(f.Text))}
	v.all = f.Thread == 0 && len(f.Outcomes) == 0 && f.Class == "" && v.text == ""
	if digits := strings.ReplaceAll(v.text, " ", ""); len(digits) >= 2 {
		if b, err := hex.DecodeString(digits); err == nil {
			v.bytes = b
		}
	}
	if v.text != "" {
		v.said, v.marked = map[string]bool{}, strings.Contains(strings.ToLower(f.ChangeMark), v.text)
	}
	if v.text != "" && !strings.ContainsFunc(v.text, unicode.IsDigit) {
		v.ends = map[fate]bool{}
	}
	v.Update()
	return v
}

// shows reports whether what is shown for a text has the text that is looked for.
func (v *View) shows(text string) bool {
	if v.f.Tell != nil {
		text = v.f.Tell(text)
	}
	return containsFold(text, v.text)
}

// says is shows for a text that many rows have.
func (v *View) says(text string) bool {
	if text == "" {
		return false
	}
	has, known := v.said[text]
	if !known {
		has = v.shows(text)
		v.said[text] = has
	}
	return has
}

// ended is shows for what has become of a question.
func (v *View) ended(r Row) bool {
	if v.ends == nil || r.Outcome == Trouble {
		return false
	}
	e := fate{r.Outcome, r.Answers, r.Waits}
	has, known := v.ends[e]
	if !known {
		r.Took = 0
		has = v.shows(r.Words())
		v.ends[e] = has
	}
	return has
}

// Update takes in new and changed rows, and drops those that the Talk has forgotten. It looks only at rows that may
// have changed since the last time.
func (v *View) Update() {
	if v.all {
		return
	}
	first := v.t.rows.first
	gone, _ := slices.BinarySearch(v.rows, first)
	v.rows = slices.Delete(v.rows, 0, gone)
	v.from = max(v.from, first)
	keep, _ := slices.BinarySearch(v.rows, v.from)
	v.rows = v.rows[:keep]
	for n := v.from; n < v.t.rows.next(); n++ {
		if v.matches(n) {
			v.rows = append(v.rows, n)
		}
	}
	v.from = v.t.settled
}

// Len is the number of chosen rows; Row and Exchange are the one at place i.
func (v *View) Len() int {
	if v.all {
		return v.t.Len()
	}
	return len(v.rows)
}

func (v *View) Row(i int) Row { return v.t.row(v.number(i), v.t.brief) }

func (v *View) Exchange(i int) Exchange { return v.t.Exchange(int(v.number(i) - v.t.rows.first)) }

func (v *View) number(i int) uint32 {
	if v.all {
		return v.t.rows.first + uint32(i)
	}
	return v.rows[i]
}

// Find is the place of the row with a number, or of the first one after it.
func (v *View) Find(number uint32) int {
	if v.all {
		return int(min(max(number, v.t.rows.first), v.t.rows.next()) - v.t.rows.first)
	}
	i, _ := slices.BinarySearch(v.rows, number)
	return i
}

func (v *View) matches(n uint32) bool {
	x := v.t.rows.at(n)
	if v.f.Thread != 0 && !v.ofThread(x) {
		return false
	}
	if len(v.f.Outcomes) == 0 && v.f.Class == "" && v.text == "" {
		return true
	}
	r := v.t.row(n, v.t.brief)
	switch {
	case len(v.f.Outcomes) > 0 && !slices.Contains(v.f.Outcomes, r.Outcome):
		return false
	case v.f.Class != "" && (r.Asked.Text == "" || r.Asked.Class != v.f.Class):
		return false
	case v.text == "":
		return true
	}
	if v.says(r.Asked.Text) || v.says(r.Said.Text) || v.says(r.Module) || v.ended(r) {
		return true
	}
	if x.trouble {
		return v.shows(r.Text)
	}
	return v.marked && r.Asked.Class == explain.Change && r.Asked.Text != "" || v.inBytes(x)
}

func (v *View) ofThread(x *exchange) bool {
	if int(v.t.of(x.thread)) == v.f.Thread {
		return true
	}
	for m := x.first; m != 0; m = v.t.msgs.at(m).next {
		if int(v.t.of(v.t.msgs.at(m).thread)) == v.f.Thread {
			return true
		}
	}
	return false
}

// inBytes looks for hex digits in the identifiers and payloads of a row.
func (v *View) inBytes(x *exchange) bool {
	for m := x.first; m != 0; m = v.t.msgs.at(m).next {
		var room [8]byte
		f := v.t.frames.at(v.t.msgs.at(m).first)
		if strings.Contains(string(appendID(room[:0], f.id)), v.text) {
			return true
		}
		if v.bytes == nil {
			continue
		}
		v.buf = v.t.payload(m, v.buf[:0])
		if strings.Contains(string(v.buf), string(v.bytes)) {
			return true
		}
	}
	return false
}

// appendID writes an identifier in its canonical form, in lower case.
func appendID(b []byte, id uint32) []byte {
	digits := 3
	if id&wideFlag != 0 {
		digits = 8
	}
	for i := digits - 1; i >= 0; i-- {
		b = append(b, "0123456789abcdef"[(id&^wideFlag)>>(4*i)&0xF])
	}
	return b
}

// containsFold looks for sub, which is in lower case, without regard to capitals and without making a copy.
func containsFold(s, sub string) bool {
	for i := range s {
		if hasPrefixFold(s[i:], sub) {
			return true
		}
	}
	return false
}

func hasPrefixFold(s, sub string) bool {
	for _, want := range sub {
		r, n := utf8.DecodeRuneInString(s)
		if n == 0 || unicode.ToLower(r) != want {
			return false
		}
		s = s[n:]
	}
	return true
}

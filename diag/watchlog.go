package diag

import (
	"encoding/csv"
	"io"
	"strconv"

	"readback/diag/garage"
)

// SampleLog writes samples as lines of comma separated values (RFC 4180): time, name, value, unit. Every sample is handed
// on at once, so that a log is whole up to where it ends. It may not be used from several goroutines.
//
// Words may be in another language; what a program reads is the same in each: the order of the columns, the commas between
// them, a point before tenths, and times of RFC 3339.
type SampleLog struct {
	w     *csv.Writer
	tell  func(english string) string
	begun bool
}

// NewSampleLog begins a log on w. The line of heads is written with the first sample. tell says in another language what the
// log says in English; nil leaves it.
func NewSampleLog(w io.Writer, tell func(english string) string) *SampleLog {
	if tell == nil {
		tell = func(english string) string { return english }
	}
	return &SampleLog{w: csv.NewWriter(w), tell: tell}
}

// logHeads are the heads of the columns.
var logHeads = []string{"time", "name", "value", "unit"}

// logTime is the time of a line: RFC 3339 in milliseconds, with the zone.
const logTime = "2006-01-02T15:04:05.000Z07:00"

// Write appends one sample. A value that was not told has no number: its column says so in words.
func (l *SampleLog) Write(s Sample) error {
	if !l.begun {
		l.begun = true
		heads := make([]string, len(logHeads))
		for i, h := range logHeads {
			heads[i] = l.tell(h)
		}
		if err := l.w.Write(heads); err != nil {
			return err
		}
	}
	s.Name, s.Label, s.Unit, s.Text = l.tell(s.Name), l.tell(s.Label), l.tell(s.Unit), l.tell(s.Text)
	if err := l.w.Write([]string{s.At.Format(logTime), s.FullName(), s.Shown(), s.Unit}); err != nil {
		return err
	}
	l.w.Flush()
	return l.w.Error()
}

// FullName is the name of the value with the label of its number.
func (s Sample) FullName() string {
	if s.Label == "" {
		return s.Name
	}
	return s.Name + ": " + s.Label
}

// Shown is the number without its unit, the state, the bytes, or why there is none.
func (s Sample) Shown() string {
	if s.Number && s.State == garage.Yes {
		return strconv.FormatFloat(s.Value, 'f', s.Digits, 64)
	}
	return s.Text
}

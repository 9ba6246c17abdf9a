// Package signal reads signal definition files (the DBC text format) and decodes CAN frames with them.
//
// A definition file belongs to its maker or to whoever wrote it; it may be wrong. So values are shown as they are
// decoded, never limited to the range that the file gives, and what does not fit into a frame is said to be missing.
//
// [Read] keeps what it can: a line that it can't read becomes a [Problem] and the rest still loads. It is pure: a
// reader in, values out.
package signal

import (
	"fmt"
	"math"
	"time"

	"readback/diag/link"
)

// Limits of a file. Larger ones are refused, or cut short with a problem.
const (
	MaxFileSize = 16 << 20 // bytes
	MaxSignals  = 200_000
	MaxProblems = 100
)

// maxLength is the longest data field, that of a CAN FD frame (ISO 11898-1), in bytes.
const maxLength = 64

// File is a signal definition file as far as it could be read.
type File struct {
	Name     string    // as given to Read
	Messages []Message // in the order of the file
	Problems []Problem // what could not be read; at most MaxProblems

	byID map[link.ID]int
}

// Problem is a line that could not be read or contradicts another one.
type Problem struct {
	Line int    `json:"line"` // from 1; 0 for the file as a whole
	Text string `json:"text"`
}

func (p Problem) String() string {
	if p.Line == 0 {
		return p.Text
	}
	return fmt.Sprintf("line %d: %s", p.Line, p.Text)
}

// Message describes the data field of the frames of one identifier.
type Message struct {
	ID      link.ID
	Name    string
	Length  int // bytes, 0 to 64
	Sender  string
	Comment string
	FD      bool          // marked as a CAN FD frame
	Cycle   time.Duration // how often it is sent; 0 when the file does not say
	Signals []Signal

	long  string // the long name, until the whole file is read
	order []int  // places in Signals, every switch before what it selects
}

// Signal is one value in a data field.
type Signal struct {
	Name    string
	Comment string
	Unit    string
	// Start is the place of the least significant bit, or of the most significant one when BigEndian. Bit n is bit
	// n mod 8 of byte n div 8, 0 being the lowest; a big-endian signal goes on at bit 7 of the next byte.
	Start     int
	Bits      int // 1 to 64
	BigEndian bool
	Signed    bool
	Float     bool // an IEEE 754 number of 16, 32 or 64 bits
	Factor    float64
	Offset    float64
	Min, Max  float64 // range that the file gives; it gives none where both are 0
	Texts     []Text  // names of single values
	Switch    bool    // its value selects which other signals are there
	Selected  *Selected

	long     string // the long name, until the whole file is read
	whole    bool   // factor and offset are whole numbers
	decimals int    // of factor and offset as written; -1 when an exponent makes it unclear
}

// Text is the name of one raw value.
type Text struct {
	Raw  int64
	Text string
}

// Selected tells when a signal is there at all: while the raw value of the switch lies in one of the ranges.
type Selected struct {
	By     string // name of the switch
	Ranges []Range
	by     int
}

// Range is a run of raw values, both ends included.
type Range struct{ From, To int64 }

// Message finds the description of an identifier.
func (f *File) Message(id link.ID) (*Message, bool) {
	i, ok := f.byID[id]
	if !ok {
		return nil, false
	}
	return &f.Messages[i], true
}

// Signal finds a signal by its name.
func (m *Message) Signal(name string) (*Signal, bool) {
	for i := range m.Signals {
		if m.Signals[i].Name == name {
			return &m.Signals[i], true
		}
	}
	return nil, false
}

// Named is the name of a number that the signal has told, "" when the file gives it none. Numbers between two steps of the
// factor count as the nearer one.
func (s *Signal) Named(number float64) string {
	for _, t := range s.Texts {
		if math.Abs(float64(t.Raw)*s.Factor+s.Offset-number) < math.Abs(s.Factor)/2 {
			return t.Text
		}
	}
	return ""
}

// text is the name of a raw value, "" when it has none.
func (s *Signal) text(raw int64) string {
	for _, t := range s.Texts {
		if t.Raw == raw {
			return t.Text
		}
	}
	return ""
}

// FormatError means that a file is no signal definition file, or too large to be one.
type FormatError struct {
	Path  string
	Text  string
	Cause error // may be nil
}

func (e *FormatError) Error() string {
	s := "signal: read " + e.Path + ": " + e.Text
	if e.Cause != nil {
		s += ": " + e.Cause.Error()
	}
	return s
}

func (e *FormatError) Unwrap() error { return e.Cause }

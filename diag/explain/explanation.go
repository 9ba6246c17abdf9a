// Package explain tells what one diagnostic frame or request means, byte by byte, and what may be done with it.
//
// [Explain] reads what an owner typed or pasted, [ExplainFrame] one frame off the wire, [ExplainMessage] a whole message of a
// conversation and [ExplainFrames] one that came in several frames; [Summary] and [SummaryFrame] are the short forms for
// recordings. [Classify] and [ClassifyPayload] tell only what may be done. Names, values and codes are those of the
// decoders of packages uds, obd, kwp and dtc; what the bytes of a frame are for is told here.
//
// It is pure: text or bytes in, an [Explanation] out; nothing is sent, stored or looked up. A digit is never changed
// and never guessed: whatever can't be read becomes a [Finding] that says where, and the class is then [Never].
package explain

import (
	"slices"

	"readback/diag/dtc"
	"readback/diag/link"
)

// Explanation is everything that is known of one typed or pasted line. Its JSON is the terminal contract.
type Explanation struct {
	Input     string     `json:"input"`
	Frame     *Frame     `json:"frame"` // nil when no frame can be read from the input
	Direction Direction  `json:"direction"`
	Service   string     `json:"service"`        // two hex digits of the service identifier, without the answer bit 0x40; "" when there is none
	Term      string     `json:"term,omitempty"` // what the service is called in its standard; "" when none has it
	Summary   string     `json:"summary"`
	Fields    []Field    `json:"fields"`
	Findings  []Finding  `json:"findings"`
	Class     Class      `json:"class"`
	Reason    string     `json:"reason"` // why this class, one sentence
	Words     *[3]string `json:"words"`  // nil when there is no complete frame
	Nearest   []Near     `json:"nearest"`

	Cleaned *Cleaned `json:"cleaned,omitempty"` // what was read, beside the input; nil when nothing was
	Steps   []Step   `json:"steps,omitempty"`   // every frame of the input, where it holds more than one

	Lost   []string `json:"lost,omitempty"`   // what is lost for good, a sentence each
	Cannot []string `json:"cannot,omitempty"` // what this request can't do
	Sure   string   `json:"sure,omitempty"`   // how sure we are, and why
	Source string   `json:"source,omitempty"` // the clauses that the explanation rests on

	// A whole message instead of a frame: Frame is nil then, and the fields count bytes of Payload. See [ExplainMessage].
	Payload     []byte `json:"-"`
	PayloadText string `json:"payload,omitempty"` // upper-case hex without spaces
}

// Frame is one classical CAN frame as it would be sent.
type Frame struct {
	ID       link.ID `json:"-"`
	IDText   string  `json:"id"` // 3 or 8 upper-case hex digits
	Extended bool    `json:"extended"`
	Data     []byte  `json:"-"`
	DataText string  `json:"data"` // upper-case hex without spaces
}

// Direction tells what kind of frame it is.
type Direction string

const (
	Request Direction = "request"
	Answer  Direction = "answer"
	Flow    Direction = "flow" // flow control (ISO 15765-2)
	Other   Direction = "other"
)

// Field is a run of bytes that mean one thing together. From and To count bytes of the frame's data field, or of the
// payload where a whole message is explained; To is exclusive, and the identifier has From -1 and To 0. The fields of a
// frame or message cover every byte exactly once.
type Field struct {
	From   int    `json:"from"`
	To     int    `json:"to"`
	Hex    string `json:"hex"`
	Name   string `json:"name"`   // "Who is asked", "How long", "What to do", "Which ones", "Filling"
	Text   string `json:"text"`   // a sentence for a person
	Source string `json:"source"` // "ISO 15765-2, single frame"
}

// Level says how much a finding matters.
type Level string

const (
	Note  Level = "note"  // worth knowing
	Doubt Level = "doubt" // probably not what was meant
	Wrong Level = "wrong" // not well formed; it must not go out
)

// Finding is one thing noticed about the input. At counts runes of Input, -1 for the whole. Byte counts bytes of the
// frame's data field, -1 where the finding is about none of them: the identifier, or what was read as no byte.
type Finding struct {
	Code  string `json:"code"` // a stable key, "length-missing"
	Level Level  `json:"level"`
	At    int    `json:"at"`
	Byte  int    `json:"byte"`
	Text  string `json:"text"`
	Fix   string `json:"fix"`
}

// Class is what may be done with a request.
type Class string

const (
	Look     Class = "look"     // may go out
	Change   Class = "change"   // needs the gate
	Workshop Class = "workshop" // refused here; explained
	Never    Class = "never"    // refused, no override
)

// Near is a well-formed request that this one is a slip away from.
type Near struct {
	Text     string `json:"text"`
	Distance int    `json:"distance"`
	Summary  string `json:"summary"`
	Class    Class  `json:"class"`
	Slip     string `json:"slip"` // what is different, "Byte 2: 19 instead of 14."

	kind slipKind
}

// Cleaned is what was read of a pasted text. The digits of Text are those of the input and stand in its order; only the
// notation around them is gone.
type Cleaned struct {
	Text     string    `json:"text"`     // "7E5 04 14 FF FF FF 55 55 55"; of several frames, one a line
	Segments []Segment `json:"segments"` // frame by frame; an identifier that holds for several is linked with each
}

// Segment links runes From to To, exclusive, of the input with the byte that they were read as. What stands in the place
// of bytes and can't be read has Byte [Gap] and no Hex; in the text it is "??".
type Segment struct {
	From int    `json:"from"`
	To   int    `json:"to"`
	Step int    `json:"step"` // which frame of the input, from 0
	Byte int    `json:"byte"` // of its data field, -1 for the identifier
	Hex  string `json:"hex"`
}

// Step is one of several frames in an input.
type Step struct {
	Text      string    `json:"text"` // "7E5 04 14 FF FF FF 55 55 55", "" when it can't be read
	At        int       `json:"at"`   // where it begins, runes of the input; -1 when not known
	Direction Direction `json:"direction"`
	Summary   string    `json:"summary"`
	Class     Class     `json:"class"`
	Reason    string    `json:"reason"`
	Taken     bool      `json:"taken"` // the rest of the explanation is about this one

	// A request, or what may be one: what comes back from modules and what the car says by itself are only the rest of a
	// conversation that was pasted whole.
	request bool
}

// Wish is what the owner wants to do; "" when not said.
type Wish string

const (
	WishRead  Wish = "read"
	WishClear Wish = "clear"
)

// Options tell what is known of the car. The zero value knows nothing.
type Options struct {
	Wish    Wish
	Modules []Module  // the modules of this car, where known
	Heard   []link.ID // identifiers that the car itself was heard to send

	Identifiers []uint16 // values of service 22 that are known to be readable on this car

	Filler []byte // what the car fills its own frames up with, where that was seen
}

// Module is a module of the car as far as an explanation needs it.
type Module struct {
	Name      string
	Address   link.Address
	Codes     int  // stored codes in the last record, -1 when not read
	Snapshots int  // stored snapshots in the last record
	Now       int  // codes there now
	Safety    bool // airbag, brakes, steering, high voltage

	Protocol string     // "UDS", "KWP" or "OBD", as the module was found to speak; "" when not known
	Held     []dtc.Code // the stored codes of the last record, where they were read
	Filler   []byte     // the byte that the module fills its own frames up with, where that was seen
}

// Comparison is two frames side by side.
type Comparison struct {
	A           Explanation  `json:"a"`
	B           Explanation  `json:"b"`
	Same        bool         `json:"same"` // the frames are equal, padding included
	Differences []Difference `json:"differences"`
	Rows        []Row        `json:"rows"` // the frames byte beside byte, the identifier first
	Summary     string       `json:"summary"`
}

// Row is one line of a comparison: a byte of each frame, or of one only. A and B are places in the data fields, -1 for
// the identifier and [Gap] where the frame has nothing here.
type Row struct {
	A    int  `json:"a"`
	B    int  `json:"b"`
	Same bool `json:"same"`
}

// Gap stands in a [Row] for a byte that one of the frames does not have, and in a [Segment] for what is no byte.
const Gap = -2

// Difference is one place where two frames differ. Byte is a place in the first frame, -1 for the identifier; where only
// the second has a byte, it is the place that this byte would have in the first. In the second frame the place is Byte
// + Shift: a byte that one of them has more moves all that follow.
type Difference struct {
	Byte  int    `json:"byte"`
	Shift int    `json:"shift"`
	Kind  string `json:"kind"` // the name of the field it lies in, "What to do"
	A     string `json:"a"`    // hex, "" where the frame has no such byte
	B     string `json:"b"`
	Text  string `json:"text"` // what the difference would mean
}

// Wrong: some finding says that the input is not well formed, so it must not go out.
func (e Explanation) Wrong() bool {
	return slices.ContainsFunc(e.Findings, func(f Finding) bool { return f.Level == Wrong })
}

// Slipped: some finding speaks for a slip of the hand, so that the requests in Nearest may be what was meant. What is
// only unwise or incomplete does not.
func (e Explanation) Slipped() bool {
	return slices.ContainsFunc(e.Findings, func(f Finding) bool {
		switch f.Code {
		case "all-modules", "short-frame", "in-text", "adapter-command", "filler-mixed", "filler-unlike", "no-answer-wanted", "two-requests":
			return false
		}
		return f.Level != Note || f.Code == "near-known"
	})
}

// Odd: some finding says more than a note, so the owner may have meant something else.
func (e Explanation) Odd() bool {
	return slices.ContainsFunc(e.Findings, func(f Finding) bool { return f.Level != Note })
}

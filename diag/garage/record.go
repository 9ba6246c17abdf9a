package garage

import (
	"encoding/hex"
	"fmt"
	"time"

	"readback/diag/dtc"
	"readback/diag/link"
)

// Car is one vehicle in the store.
type Car struct {
	ID       int64     `json:"id"`
	Name     string    `json:"name"`
	VIN      string    `json:"vin"`      // as read or typed; may fail its check digit
	Model    string    `json:"model"`    // in the owner's words
	Practice bool      `json:"practice"` // a practice car, never mixed with real ones
	Place    string    `json:"place"`    // the adapter's place used last
	Odometer string    `json:"odometer"` // value, unit and source in words, "" when not known
	Made     time.Time `json:"made"`
}

// Kind of a visit.
type Kind string

const (
	KindLook     Kind = "look"      // a reading on its own
	KindBefore   Kind = "before"    // the record a change relied on
	KindReadBack Kind = "read-back" // the reading after a change
)

// Visit is one complete or partial reading of a car.
type Visit struct {
	ID       int64     `json:"id"`
	CarID    int64     `json:"carId"`
	Kind     Kind      `json:"kind"`
	Begun    time.Time `json:"begun"`
	Ended    time.Time `json:"ended"`
	Complete bool      `json:"complete"` // every module known was asked and none was lost on the way
	Place    string    `json:"place"`
	Adapter  string    `json:"adapter"`
	Practice bool      `json:"practice"`
	Supply   float64   `json:"supply"` // volts, 0 when not measured
	Odometer string    `json:"odometer"`
	Modules  []Module  `json:"modules"`
}

// Answered tells whether a module answered: silence, refusal, damage and "not asked" are different answers.
type Answered string

const (
	Yes      Answered = "yes"
	Silent   Answered = "silent"
	Refused  Answered = "refused"
	NotAsked Answered = "not asked"
	Damaged  Answered = "damaged" // something came from it that could not be read: it is there
)

// Words is how an answer is written in a table.
func (a Answered) Words() string {
	if a == Damaged {
		return "answered, damaged"
	}
	return string(a)
}

// Module is one module as it was found in one visit.
type Module struct {
	ID             int64             `json:"-"`
	Name           string            `json:"name"`
	NameSource     string            `json:"nameSource"` // "read from the module", "common practice", "by you"
	Address        link.Address      `json:"-"`
	Request        link.ID           `json:"request"`
	Answer         link.ID           `json:"answer"`
	Protocol       string            `json:"protocol"` // "UDS", "OBD"
	Safety         bool              `json:"safety"`
	Answered       Answered          `json:"answered"`
	Refusal        string            `json:"refusal,omitempty"`
	Identification map[string]string `json:"identification"` // "F190" -> text; values that are not text as hex
	Availability   *dtc.Status       `json:"availability"`   // nil when the module gives none
	CodesRead      Answered          `json:"codesRead"`      // whether the list of codes was read
	Codes          []CodeRecord      `json:"codes"`
}

// CodeRecord is one stored code as it was found.
type CodeRecord struct {
	ID        int64       `json:"-"`
	Code      dtc.Code    `json:"-"`
	Raw       Hex         `json:"raw"`                    // the bytes as they came
	Status    *dtc.Status `json:"status"`                 // nil when the module gives none (OBD)
	Lists     []string    `json:"lists,omitempty"`        // OBD: "stored", "pending", "permanent"
	Severity  *byte       `json:"severityByte,omitempty"` // the module's own, 19 09
	Snapshots []Snapshot  `json:"snapshots"`
	Extended  []Extended  `json:"extended"`
}

// Snapshot is one record of values kept when the code was stored (19 04).
type Snapshot struct {
	Record byte    `json:"record"`
	Raw    Hex     `json:"raw"`
	Values []Value `json:"values"`
}

// Value is one value inside a snapshot or an extended record.
type Value struct {
	Identifier uint16 `json:"identifier"`
	Name       string `json:"name"` // "" when the meaning is not known
	Text       string `json:"text"` // with unit, "" when the meaning is not known
	Raw        Hex    `json:"raw"`
}

// Extended is one extended data record (19 06).
type Extended struct {
	Record byte   `json:"record"`
	Name   string `json:"name"`
	Text   string `json:"text"`
	Raw    Hex    `json:"raw"`
}

// Outcome is what became of a change.
type Outcome string

const (
	Planned   Outcome = "planned"   // written down, not yet on the wire: after a crash, "sent, answer unknown"
	NeverSent Outcome = "not sent"  // known not to have left
	Accepted  Outcome = "accepted"  // positive answer
	Declined  Outcome = "refused"   // negative answer
	NoAnswer  Outcome = "no answer" // sent, and silence
	Unknown   Outcome = "unknown"   // sent, and nobody knows: read again
)

// Entry is one row of the journal: a change, written down before it is sent.
type Entry struct {
	ID       int64     `json:"id"`
	CarID    int64     `json:"carId"`
	Before   int64     `json:"before"`   // the visit it relied on
	ReadBack int64     `json:"readBack"` // the visit after it, 0 when none
	Place    string    `json:"place"`
	Request  string    `json:"request"` // canonical text, 7E5#0414FFFFFF555555
	Summary  string    `json:"summary"`
	Words    string    `json:"words"`
	Latches  string    `json:"latches"` // the latches as JSON, with the owner's statements
	Begun    time.Time `json:"begun"`
	Ended    time.Time `json:"ended"`
	Outcome  Outcome   `json:"outcome"`
	Answers  []string  `json:"answers"` // answers as text, with times
	Seen     bool      `json:"seen"`    // the owner has been told of an unknown outcome
}

// Hex are raw bytes; as text they are upper-case hex digits.
type Hex []byte

func (h Hex) MarshalText() ([]byte, error) { return fmt.Appendf(nil, "%X", []byte(h)), nil }

func (h Hex) String() string { return fmt.Sprintf("%X", []byte(h)) }

func (h *Hex) UnmarshalText(b []byte) error {
	v, err := hex.DecodeString(string(b))
	if err == nil {
		*h = v
	}
	return err
}

package diag

import (
	"time"

	"readback/diag/adapter"
	"readback/diag/dtc"
	"readback/diag/explain"
	"readback/diag/garage"
	"readback/diag/gate"
)

// Options say with what a visit works.
type Options struct {
	Place   adapter.Place
	Drivers []adapter.Driver
	Store   *garage.Store
	// Tell, when not nil, is told the steps of the link test while the adapter is opened.
	Tell func(adapter.Rung)
	// Ahead moves the dates that the practice car's visits get in the logbook, to try what happens over weeks. It is
	// refused for every other place.
	Ahead time.Duration
	// Identifiers are values of service 22 that the owner knows this car tells, beside those of the standards: the gate
	// lets them be read. They are single ones, no more than 32, and never a range to be tried.
	Identifiers []uint16
}

// Stage is what a visit is busy with, for a progress line.
type Stage string

const (
	StageListen Stage = "listen" // listening to what the car says by itself
	StageAsk    Stage = "ask"    // asking all modules at once
	StageSweep  Stage = "sweep"  // asking one address after another
	StageCodes  Stage = "codes"  // reading codes and what was kept with them
	StageSave   Stage = "save"   // writing the record
)

// Progress is one step of a reading. Done and Total count within the stage.
type Progress struct {
	Stage    Stage
	Module   string // name of the module being read, "" where none
	Done     int
	Total    int
	Answered int // modules that have answered so far
}

// Tally counts what has left this computer.
type Tally struct {
	Reads   int `json:"reads"`
	Changes int `json:"changes"`
	Refused int `json:"refused"` // requests that the gate held back
}

// CodeView is one code as it is shown: the record beside its meaning.
type CodeView struct {
	Record   garage.CodeRecord
	Describe dtc.Description // meaning, verdict, severity in words
}

// ModuleView is one module with its codes, those that are there now first.
type ModuleView struct {
	garage.Module
	Views []CodeView
}

// Pattern is something that several codes say together, or codes and what else a record holds.
type Pattern struct {
	Key    string   `json:"pattern"`
	Text   string   `json:"text"`   // what it means, in sentences for the owner
	Codes  []string `json:"codes"`  // those it rests on, "Charging U0140-87"; never nil
	Next   string   `json:"next"`   // the one next step
	Source string   `json:"source"` // what the rule rests on
}

// SendStage is where a change stands.
type SendStage string

const (
	SendMeasure  SendStage = "measure"   // the car's state is measured again
	SendWrite    SendStage = "write"     // the journal is written and synced
	SendOut      SendStage = "out"       // the request has left, once
	SendAnswer   SendStage = "answer"    // an answer came (also "understood, wait")
	SendReadBack SendStage = "read-back" // all modules are read again
	SendDone     SendStage = "done"
)

// SendStep is one step of sending a change.
type SendStep struct {
	Stage    SendStage
	Answer   *Answer   // with SendAnswer
	Progress *Progress // with SendReadBack
}

// Answer is one message that came back.
type Answer struct {
	At      time.Time     `json:"at"`
	After   time.Duration `json:"-"`
	AfterMs float64       `json:"afterMs"`
	From    string        `json:"from"` // identifier that answered
	Hex     string        `json:"hex"`  // payload
	Text    string        `json:"text"` // in words
	Frames  []string      `json:"frames"`
}

// Fate is what became of one code between the record before a change and the reading after it.
type Fate struct {
	Module string `json:"module"`
	Code   string `json:"code"`
	Text   string `json:"text"`
}

// ReadBack compares the readings before and after a change.
type ReadBack struct {
	Gone      []Fate `json:"gone"`
	Back      []Fate `json:"back"`      // erased and failed again since
	Unchanged []Fate `json:"unchanged"` // the module was not asked, or it kept the code
	New       []Fate `json:"new"`
	Unknown   []Fate `json:"unknown"` // the module did not answer this time
}

// Result is the end of sending one request.
type Result struct {
	Sent     bool                `json:"sent"`
	Refused  []gate.Latch        `json:"refused"` // latches that were not in line
	Reason   string              `json:"reason,omitempty"`
	Request  explain.Explanation `json:"request"`
	Answers  []Answer            `json:"answers"`
	Outcome  garage.Outcome      `json:"outcome"`
	ReadBack *ReadBack           `json:"readBack"`
	Before   int64               `json:"before"` // visit numbers
	Visit    int64               `json:"visit"`
	Entry    int64               `json:"entry"` // row of the journal
	Tally    Tally               `json:"tally"`
	SentAt   time.Time           `json:"sentAt"`
}

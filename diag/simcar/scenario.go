package simcar

import "readback/diag/link"

// Scenario is one simulated car at one moment, as a JSON document.
//
// A document that names another as its base is a JSON Merge Patch (RFC 7396) on that one: it holds only what
// differs, and null takes an entry away. "courier" is the car that the others start from:
//
//	courier     an electric van after a flat 12 V battery: a charge flap lock fault there now, and a wave of remembered codes
//	moving      the same, driven at 23 km/h
//	low-supply  the same, with 11.8 V at the socket
//	ready       the same, with the drive on and the 12 V supply charged by it
//	quiet       the same van without any code, and with two modules that are not there
//	runner      a small petrol car with a leak in its tank venting: self-tests, counts of them, a freeze frame
//	runner-uds  the same, asked by the services of SAE J1979-2
//	pony        an old petrol car on ISO 9141-2: more codes than go into one message
//	drover      an old diesel with four modules of ISO 14230 on its serial line
//	flat-battery      the van with nothing but the wave of remembered codes
//	lock-fault        the van with nothing but the flap lock fault
//	refusing-gateway  the van whose modules refuse every clear with 33
//	silent-module     the van without its climate module, which two others miss
//	wrong-rate        the van behind an adapter that is set to another bit rate
//	asleep            the van asleep: nobody answers, and nobody acknowledges
//	no-car            an adapter that is in no car
//	unusual-line      the van behind a serial adapter whose line has an unusual speed
//	clone-adapter     the van behind a serial adapter that calls itself newer than it is
//	lesson            the van of the lessons
//	twenty      the same van with twenty modules: both identifier widths, answers at all distances, a slow one, a silent one
//	crowded     the same twenty, all of which answer, with 300 codes
//	thirteen    the quiet van with thirteen modules, all of which answer
//	thirteen-less-two  the same, two of which are not there any more
//	body-unheard  four modules miss the body module, now, and it answers all the same
//
// The scenarios whose names begin with "adapter-" are the same van behind serial adapters that are old, copied or broken,
// one fault each; their notes say which.
//
// Every name, number and code assignment in them is invented.
type Scenario struct {
	Version  int                `json:"version"`        // of the document's form: 1
	Base     string             `json:"base,omitempty"` // the document that this one changes
	Note     string             `json:"note"`
	Name     string             `json:"name"` // of the car
	Year     int                `json:"year"`
	VIN      string             `json:"vin"`      // 17 characters (ISO 3779)
	Odometer int                `json:"odometer"` // km, up to 16 777 215
	BitRate  int                `json:"bitRate"`  // of the CAN bus, bit/s; 0 with a serial line
	Line     Line               `json:"line"`     // the serial line of a car without CAN
	Supply   float64            `json:"supply"`   // 12 V supply at the socket, V
	Outside  int                `json:"outside"`  // temperature, °C
	On       bool               `json:"on"`       // ignition
	OnFor    int                `json:"onFor"`    // s since it was switched on
	Ready    bool               `json:"ready"`    // the drive is on
	Charging bool               `json:"charging"` // plugged in and charging
	Speed    int                `json:"speed"`    // km/h, 0-255
	Gearing  int                `json:"gearing"`  // motor speed, 1/min per km/h
	Engine   *Engine            `json:"engine"`   // a combustion engine, which runs while the car is ready
	Modules  map[string]*Module `json:"modules"`
	Traffic  []Traffic          `json:"traffic"` // ordinary messages while the ignition is on
	Adapter  *AdapterSpec       `json:"adapter"` // a serial adapter unlike the data sheet's; nil: one like it
	Misset   int                `json:"misset"`  // bit rate that an adapter of frames is wrongly set to, bit/s; 0: the bus's own
}

// Engine is what the parameters of a combustion engine follow.
type Engine struct {
	Idle    int `json:"idle"`    // 1/min, standing
	Coolant int `json:"coolant"` // °C when it is started
	Warm    int `json:"warm"`    // °C that the coolant reaches, one degree in four seconds
}

// Module is one control module: where it listens, how it answers and what it has stored.
type Module struct {
	Deeper

	Request    link.ID           `json:"request"`
	Answer     link.ID           `json:"answer"`
	Functional bool              `json:"functional"` // answers requests to all modules
	Silent     bool              `json:"silent"`     // not there: answers nothing
	Delay      int               `json:"delay"`      // ms until it answers, below P2 of 50 ms (ISO 14229-2)
	Gateway    int               `json:"gateway"`    // ms more for the way through the gateway
	Padding    *Byte             `json:"padding"`    // fills frames up to 8 bytes; without it frames are as short as they can be
	Block      int               `json:"block"`      // block size of its flow control, 0-255
	Separation Byte              `json:"separation"` // STmin of its flow control, as on the wire
	Room       int               `json:"room"`       // the longest request it takes, in bytes
	Work       int               `json:"work"`       // ms that every answer but a clear takes; above 50 it says 7F xx 78 first
	ClearTime  int               `json:"clearTime"`  // ms that writing a clear takes; above 50 it says 7F 14 78 first
	Mask       Byte              `json:"mask"`       // status availability mask
	Format     Byte              `json:"format"`     // DTC format identifier in 19 01
	Groups     []Hex             `json:"groups"`     // groups that 14 takes besides FFFFFF and single codes
	Texts      map[string]string `json:"texts"`      // identifier -> ASCII text, for 22
	Data       map[string]Hex    `json:"data"`       // identifier -> bytes, for 22
	Live       []string          `json:"live"`       // identifiers of values that the car has now, for 22
	Refuse     []Refusal         `json:"refuse"`
	Codes      map[string]*Code  `json:"codes"` // "P1D5A-13"
	OBD        *OBD              `json:"obd"`
	KWP        *KWP              `json:"kwp"`
}

// Refusal makes a module refuse requests that begin with some bytes.
type Refusal struct {
	Request Hex   `json:"request"` // how the request begins
	NRC     *Byte `json:"nrc"`     // negative response code; without it the module stays silent
	While   State `json:"while"`   // in which state only; always when empty
}

// State is a condition of the car that refusals and tests depend on.
type State string

const (
	Always         State = ""
	WhileReady     State = "ready"
	WhileMoving    State = "moving"
	WhileCharging  State = "charging"
	DefaultSession State = "default session" // of the module that is asked
)

// Code is one trouble code that a module can set, with the test behind it.
type Code struct {
	Status      Byte       `json:"status"`      // at the start, ISO 14229-1 annex D.2
	Present     bool       `json:"present"`     // the fault is there: its test fails
	After       int        `json:"after"`       // ms from switching on to the first test; a repeated test starts anew after a clear
	Every       int        `json:"every"`       // ms from test to test; 0: one test a switch-on
	Needs       State      `json:"needs"`       // the test runs only in this state of the car
	Step        int        `json:"step"`        // how far one test moves the fault detection counter, 1-128; 0 counts as 128
	Confirm     int        `json:"confirm"`     // failing operation cycles until it is confirmed; 0 counts as 1
	Aging       int        `json:"aging"`       // passing operation cycles until it is forgotten; 0: never
	Lamp        bool       `json:"lamp"`        // asks for the warning lamp once confirmed
	OBD         bool       `json:"obd"`         // reported by services 03, 07 and 0A too
	Permanent   bool       `json:"permanent"`   // in the permanent list of service 0A at the start
	Occurrences int        `json:"occurrences"` // times seen
	Aged        int        `json:"aged"`        // passing operation cycles so far
	Severity    Byte       `json:"severity"`    // ISO 14229-1 annex D.3
	Unit        Byte       `json:"unit"`        // functional unit
	Snapshots   []Snapshot `json:"snapshots"`
	Unnamed     Hex        `json:"unnamed"` // an identifier and its bytes at the end of each new snapshot, known to nobody
}

// Snapshot is what was noted when a code was set: 1 the first time, 2 the last time.
type Snapshot struct {
	Record   int     `json:"record"`
	Odometer int     `json:"odometer"` // km
	Supply   float64 `json:"supply"`   // V
	Outside  int     `json:"outside"`  // °C
	OnFor    int     `json:"onFor"`    // s since switching on
}

// OBD makes a module answer the services of SAE J1979.
type OBD struct {
	Name        string         `json:"name"`        // its name, service 09 type 0A
	Calibration string         `json:"calibration"` // service 09 type 04, up to 16 characters
	Check       Hex            `json:"check"`       // calibration verification number, service 09 type 06, 4 bytes
	Readiness   Hex            `json:"readiness"`   // bytes B, C and D of parameter 01
	Parameters  map[string]Hex `json:"parameters"`  // fixed ones: number -> bytes
	Live        []string       `json:"live"`        // numbers of those that the car has now
	Freeze      Freeze         `json:"freeze"`
	KmSince     int            `json:"kmSince"`  // km since the last clear
	MinSince    int            `json:"minSince"` // running minutes since the last clear
	WarmUps     int            `json:"warmUps"`  // since the last clear
	KmWithLamp  int            `json:"kmWithLamp"`

	Complete  int                   `json:"complete"`  // ms after a clear, and on a trip, until the self-tests have run; 0: at once
	SelfTests map[string][]SelfTest `json:"selfTests"` // of service 06, by monitor id
	Tracking  *Tracking             `json:"tracking"`  // of service 09
	OnUDS     bool                  `json:"onUDS"`     // asked by SAE J1979-2 alone: services 22, 19 and 14 of ISO 14229-1
}

// SelfTest is one result that service 06 tells; all values are as on the wire.
type SelfTest struct {
	Test  Byte `json:"test"`
	Unit  Byte `json:"unit"` // units-and-scaling id
	Value Hex  `json:"value"`
	Low   Hex  `json:"low"`
	High  Hex  `json:"high"`
}

// Tracking are the counts of self-tests in use. They are never erased.
type Tracking struct {
	Compression bool  `json:"compression"` // told as type 0B, not 08
	Conditions  int   `json:"conditions"`
	Starts      int   `json:"starts"`
	Counts      []int `json:"counts"` // completed and encountered, in the order of SAE J1979 annex G
}

// Freeze is the freeze frame of service 02: the parameters noted when the first of the codes was stored.
type Freeze struct {
	Code   string         `json:"code"` // one of the module's codes, empty when there is none
	Values map[string]Hex `json:"values"`
}

// Traffic is one cyclic message.
type Traffic struct {
	ID      link.ID `json:"id"`
	Every   int     `json:"every"`             // ms
	Data    Hex     `json:"data"`              // up to 8 bytes
	Counter *int    `json:"counter,omitempty"` // the byte whose low half counts messages
	Speed   *int    `json:"speed,omitempty"`   // the first of two bytes with the speed in 0.01 km/h
	Supply  *int    `json:"supply,omitempty"`  // the byte with the supply in 0.1 V
}

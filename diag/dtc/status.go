package dtc

// Bits of the status byte, ISO 14229-1 annex D.2.
const (
	TestFailed Status = 1 << iota
	TestFailedThisOperationCycle
	PendingDTC
	ConfirmedDTC
	TestNotCompletedSinceLastClear
	TestFailedSinceLastClear
	TestNotCompletedThisOperationCycle
	WarningIndicatorRequested
)

// fault are the bits that make an entry a fault; the rest say that there is no result yet, or ask for a lamp.
const fault = TestFailed | TestFailedThisOperationCycle | PendingDTC | ConfirmedDTC | TestFailedSinceLastClear

// Faulty tells whether the entry is a fault, as far as the module reports its bits.
func (s Status) Faulty(available Status) bool { return s&available&fault != 0 }

// Verdict is what a status byte says in one line.
type Verdict uint8

const (
	VerdictUnknown Verdict = iota
	ThereNow
	CameAndWent
	SeenOnce
	Remembered
	RememberedPassed
	RememberedOnly
	NoResult
	FailedSinceClear
	Fine
	Stored    // confirmed, and nobody tells whether it is there now: OBD list, or bit 0 not reported
	Pending   // OBD list
	Permanent // OBD list
)

var verdicts = [...]struct{ key, text, short string }{
	VerdictUnknown:   {"unknown", "The module does not tell.", "not known"},
	ThereNow:         {"there-now", "There now.", "happening now"},
	CameAndWent:      {"came-and-went", "Came and went since switch-on.", "came and went"},
	SeenOnce:         {"seen-once", "Seen once, not confirmed.", "seen once"},
	Remembered:       {"remembered", "Remembered from before; not re-tested yet this trip.", "not re-tested yet"},
	RememberedPassed: {"remembered-passed", "Remembered; tested this trip and passed.", "remembered, not now"},
	RememberedOnly:   {"remembered-only", "Remembered, not there now; the module does not tell whether it was tested this trip.", "remembered, not now"},
	NoResult:         {"no-result", "No result yet.", "no result yet"},
	FailedSinceClear: {"failed-since-clear", "Failed since the clear, now passing.", "failed since the clear"},
	Fine:             {"fine", "Tested, nothing found.", "tested, nothing found"},
	Stored:           {"stored", "Stored. The module does not tell whether it is there now.", "stored"},
	Pending:          {"pending", "Seen, waiting to be confirmed.", "waiting"},
	Permanent:        {"permanent", "Permanent: only the module itself erases it.", "permanent"},
}

// Key is a stable word for the verdict; Text says it in a sentence, Short in a few words.
func (v Verdict) Key() string    { return verdicts[v].key }
func (v Verdict) Text() string   { return verdicts[v].text }
func (v Verdict) Short() string  { return verdicts[v].short }
func (v Verdict) String() string { return verdicts[v].key }

// Verdict reads the status byte; the first line that fits counts. A bit that the module does not report (outside
// available) is not known, so no line may rest on it. The order of the lines is common practice after annex D.2.
func (s Status) Verdict(available Status) Verdict {
	set := func(b Status) bool { return available&b == b && s&b != 0 }
	unset := func(b Status) bool { return available&b == b && s&b == 0 }
	switch {
	case available == 0:
		return VerdictUnknown
	case set(TestFailed):
		return ThereNow
	case set(TestFailedThisOperationCycle):
		return CameAndWent
	case set(PendingDTC) && unset(ConfirmedDTC):
		return SeenOnce
	case set(ConfirmedDTC) && set(TestNotCompletedThisOperationCycle):
		return Remembered
	case set(ConfirmedDTC) && unset(TestNotCompletedThisOperationCycle) && unset(TestFailed):
		return RememberedPassed
	case set(ConfirmedDTC) && unset(TestFailed):
		return RememberedOnly
	case set(ConfirmedDTC):
		return Stored
	case set(TestNotCompletedSinceLastClear) && !s.Faulty(available):
		return NoResult
	case set(TestFailedSinceLastClear) && unset(TestFailed):
		return FailedSinceClear
	case s.Faulty(available):
		return VerdictUnknown
	case set(TestNotCompletedThisOperationCycle):
		return NoResult
	case unset(TestFailed) && unset(ConfirmedDTC) && unset(TestNotCompletedSinceLastClear):
		return Fine
	}
	return VerdictUnknown
}

// Bit is one bit of a status byte in words.
type Bit struct {
	Bit   int    `json:"bit"`
	Name  string `json:"name"` // ISO 14229-1
	Text  string `json:"text"` // the plain question that it answers
	Set   bool   `json:"set"`
	Known bool   `json:"known"` // the module reports this bit
}

var bits = [8]struct{ name, text string }{
	{"testFailed", "Did the last test fail?"},
	{"testFailedThisOperationCycle", "Has it failed since switching on?"},
	{"pendingDTC", "Has it failed on this trip or the last?"},
	{"confirmedDTC", "Has it failed often enough to be stored?"},
	{"testNotCompletedSinceLastClear", "Is there no result yet since the clear?"},
	{"testFailedSinceLastClear", "Has it failed at least once since the clear?"},
	{"testNotCompletedThisOperationCycle", "Is there no result yet on this trip?"},
	{"warningIndicatorRequested", "Does it ask for a warning lamp?"},
}

// Bits are the eight bits in order.
func (s Status) Bits(available Status) []Bit {
	out := make([]Bit, 8)
	for i, b := range bits {
		m := Status(1) << i
		out[i] = Bit{Bit: i, Name: b.name, Text: b.text, Set: s&m != 0, Known: available&m != 0}
	}
	return out
}

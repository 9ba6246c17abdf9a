package explain

import (
	"fmt"

	"readback/diag/kwp"
)

// layout is one form of a request: what follows the service identifier.
type layout struct {
	sub    int    // sub-function without bit 0x80, or none, or anySub
	verb   string // what exactly is asked, a phrase after "Asks it to"
	parts  []part
	repeat int                 // the last part may come up to this many times; 0 means once
	valid  func(p []byte) bool // further conditions on the whole payload, nil for none
}

// part is one parameter. n is its length in bytes; tail and some are runs to the end of the payload.
type part struct {
	n    int
	name string
	text func(b []byte) string
}

const (
	tail = 0  // the rest, which may be empty
	some = -1 // the rest, at least one byte
)

const (
	none   = -1 // a form without a sub-function
	anySub = -2 // a form for whatever sub-function
)

// say is a text that does not depend on the bytes.
func say(s string) func([]byte) string { return func([]byte) string { return s } }

var (
	mask   = part{1, "Which ones", statusMaskText}
	code3  = part{3, "Which one", func(b []byte) string { return "The code " + codeName(b) + " only." }}
	record = part{1, "Which record", func(b []byte) string {
		if b[0] == 0xFF {
			return "Every record there is."
		}
		return fmt.Sprintf("Record number %d.", b[0])
	}}
	severity = part{1, "How severe", func(b []byte) string { return fmt.Sprintf("Only codes whose severity fits the pattern %02X.", b[0]) }}
	memory   = part{1, "Which memory", func(b []byte) string { return fmt.Sprintf("The extra memory number %02X.", b[0]) }}
	area     = part{1, "Which area", func(b []byte) string { return areaText(b[0]) }}
	did      = part{2, "Which value", func(b []byte) string { return didText(be16(b)) }}
	raw      = part{tail, "Details", func(b []byte) string { return "Bytes of the maker's own: " + hexOf(b) + "." }}
	content  = part{some, "Content", func(b []byte) string { return "Bytes of the maker's own: " + hexOf(b) + "." }}
	param    = part{1, "Which value", func(b []byte) string { return pidText(b[0]) }}
	routine  = part{2, "Which job", func(b []byte) string { return jobText(be16(b)) }}
)

func be16(b []byte) uint16 { return uint16(b[0])<<8 | uint16(b[1]) }

// jobs are the built-in jobs that the standard itself numbers (ISO 14229-1:2020 annex F).
var jobs = map[uint16]string{0xE200: "fire a safety device for scrapping", 0xE201: "find out which safety devices can be fired for scrapping",
	0xFF00: "erase memory for new software", 0xFF01: "check whether new software fits together"}

func jobText(id uint16) string {
	if t := jobs[id]; t != "" {
		return fmt.Sprintf("The built-in job %04X: %s.", id, t)
	}
	return fmt.Sprintf("The built-in job %04X. Its meaning is the maker's own.", id)
}

// layouts are the forms of the requests of each service, ISO 14229-1 clauses 9 to 14, SAE J1979 clause 6,
// ISO 14230-3 clauses 6 to 9. A request that fits none of them is not understood.
var layouts = map[byte][]layout{
	0x01: {{sub: none, verb: "tell a present value", parts: []part{param}, repeat: 6}},
	0x02: {{sub: none, verb: "tell a value kept with a code", repeat: 3, parts: []part{{2, "Which value", func(b []byte) string {
		return pidText(b[0]) + fmt.Sprintf(" As kept in frame %d.", b[1])
	}}}}},
	0x03: {{sub: none, verb: "tell its stored trouble codes"}},
	0x04: {{sub: none, verb: "forget all its trouble codes"}},
	0x05: {{sub: none, verb: "tell the result of an oxygen sensor test", parts: []part{
		{1, "Which test", func(b []byte) string { return fmt.Sprintf("Test number %02X.", b[0]) }},
		{1, "Which sensor", func(b []byte) string { return fmt.Sprintf("Sensor pattern %02X.", b[0]) }}}}},
	0x06: {{sub: none, verb: "tell results of its own tests", repeat: 6, valid: supportOrOne, parts: []part{
		{1, "Which test", func(b []byte) string { return monitorText(b[0]) }}}}},
	0x07: {{sub: none, verb: "tell its pending trouble codes"}},
	0x08: {{sub: none, verb: "operate a system of the car", parts: []part{content}}},
	0x09: {{sub: none, verb: "tell what car this is", repeat: 6, valid: supportOrOne, parts: []part{
		{1, "What about", func(b []byte) string { return infoText(b[0]) }}}}},
	0x0A: {{sub: none, verb: "tell its permanent trouble codes"}},

	0x10: sessions,
	0x11: {
		{sub: 1, verb: "restart as if the battery had been taken off"},
		{sub: 2, verb: "restart as if the ignition had been switched off and on"},
		{sub: 3, verb: "restart its program"},
		{sub: 4, verb: "shut down fast from now on"},
		{sub: 5, verb: "no longer shut down fast"},
	},
	0x14: {
		{sub: none, verb: "forget trouble codes", parts: []part{{3, "Which ones", groupText}}},
		{sub: none, verb: "forget trouble codes", parts: []part{{2, "Which ones", oldGroupText}}},
		{sub: none, verb: "forget trouble codes of one memory", parts: []part{{3, "Which ones", groupText}, memory}},
	},
	0x19: reports,
	0x22: {{sub: none, verb: "tell a value", parts: []part{did}, repeat: 1 << 11}},
	0x23: {{sub: none, verb: "show raw memory", parts: []part{content}, valid: sizedMemory}},
	0x24: {{sub: none, verb: "tell how a value is scaled", parts: []part{did}}},
	0x27: {
		{sub: anySub, verb: "hand out the question that the key has to answer", parts: []part{raw}, valid: asksSeed},
		{sub: anySub, verb: "take the key to protected functions", parts: []part{content}, valid: bringsKey},
	},
	0x28: {
		{sub: 0, verb: "send and receive ordinary messages again", parts: []part{kindOfMessages}, valid: plainMessages},
		{sub: 1, verb: "stop sending ordinary messages", parts: []part{kindOfMessages}},
		{sub: 2, verb: "stop receiving ordinary messages", parts: []part{kindOfMessages}},
		{sub: 3, verb: "stop sending and receiving ordinary messages", parts: []part{kindOfMessages}},
		{sub: 4, verb: "stop sending ordinary messages of a part of the network", parts: []part{kindOfMessages, {2, "Which part", hexText}}},
		{sub: 5, verb: "use a part of the network again", parts: []part{kindOfMessages, {2, "Which part", hexText}}},
	},
	0x29: authentications,
	0x2A: {
		{sub: none, verb: "repeat values by itself", valid: func(p []byte) bool { return p[1] >= 1 && p[1] <= 3 },
			parts: []part{{1, "How fast", say("From now on, again and again, until it is stopped.")}, {some, "Which values", hexText}}},
		{sub: none, verb: "stop repeating values", valid: func(p []byte) bool { return p[1] == 4 },
			parts: []part{{1, "How fast", say("Stop.")}, {tail, "Which values", hexText}}},
	},
	0x2C: {
		{sub: 1, verb: "make a list of values", parts: []part{did, {some, "From what", hexText}}, valid: multipleOf4},
		{sub: 2, verb: "make a list of raw memory", parts: []part{did, {some, "From where", hexText}}, valid: sizedList},
		{sub: 3, verb: "drop a list of values", parts: []part{did}},
		{sub: 3, verb: "drop every list of values"},
	},
	0x2E: {{sub: none, verb: "write a value", parts: []part{did, content}}},
	0x2F: {{sub: none, verb: "operate a part of the car", parts: []part{did, {1, "How", ioText}, raw}}},
	0x31: {
		{sub: 1, verb: "run a built-in job", parts: []part{routine, raw}},
		{sub: 2, verb: "stop a built-in job", parts: []part{routine, raw}},
		{sub: 3, verb: "tell the result of a built-in job", parts: []part{routine, raw}},
	},
	0x34: {{sub: none, verb: "get ready to take software in", parts: []part{content}}},
	0x35: {{sub: none, verb: "get ready to give software out", parts: []part{content}}},
	0x36: {{sub: none, verb: "move a block of software", parts: []part{{1, "Which block", hexText}, raw}}},
	0x37: {{sub: none, verb: "end moving software", parts: []part{raw}}},
	0x38: {{sub: none, verb: "move a file", parts: []part{content}}},
	0x3D: {{sub: none, verb: "write raw memory", parts: []part{content}}},
	0x3E: {{sub: 0, verb: "stay awake and keep the conversation open"}},
	0x83: {
		{sub: 1, verb: "tell the timing it can do"},
		{sub: 2, verb: "go back to its usual timing"},
		{sub: 3, verb: "tell its timing now"},
		{sub: 4, verb: "take another timing", parts: []part{content}},
	},
	0x84: {{sub: none, verb: "open a locked envelope", parts: []part{content}}},
	0x85: {
		{sub: 1, verb: "store codes again"},
		{sub: 1, verb: "store codes again", parts: []part{{3, "Which ones", groupText}}, valid: everyGroup},
		{sub: 2, verb: "stop storing codes", parts: []part{raw}},
	},
	0x86: events,
	0x87: {
		{sub: 1, verb: "check whether it can change to a usual speed of the line", parts: []part{content}},
		{sub: 2, verb: "check whether it can change to any speed of the line", parts: []part{{3, "Which speed", speedText}}},
		{sub: 3, verb: "change the speed of the line now"},
	},

	0x12: {{sub: none, verb: "tell the values kept with a code", parts: []part{{1, "Which record", hexText}, {1, "Chosen by", hexText}, {tail, "Which one", hexText}},
		valid: func(p []byte) bool { return len(p) <= 5 }}},
	0x13: {{sub: none, verb: "tell its trouble codes"}, {sub: none, verb: "tell its trouble codes", parts: []part{{2, "Which ones", oldGroupText}}}},
	0x17: {{sub: none, verb: "tell the state of a code", parts: []part{{2, "Which one", oldGroupText}}}},
	0x18: {{sub: none, verb: "tell its trouble codes by their state", parts: []part{{1, "Which state", hexText}, {2, "Which ones", oldGroupText}}}},
	0x1A: {{sub: none, verb: "tell what module it is", parts: []part{{1, "What about", oldPlateText}}}},
	0x20: {{sub: none, verb: "go back to normal"}},
	0x21: {{sub: none, verb: "tell a value", parts: []part{{1, "Which value", func(b []byte) string {
		return fmt.Sprintf("The maker's own number %02X.", b[0])
	}}}}},
	0x30: {{sub: none, verb: "operate a part of the car", parts: []part{content}}},
	0x32: {{sub: none, verb: "stop a built-in job", parts: []part{content}}},
	0x33: {{sub: none, verb: "tell the result of a built-in job", parts: []part{content}}},
	0x3B: {{sub: none, verb: "write a value", parts: []part{content}}},
	0x26: {{sub: none, verb: "repeat values at another pace", parts: []part{{1, "Slow", hexText}, {1, "Middle", hexText}, {1, "Fast", hexText}}}}, // from memory
	0x39: {{sub: none, verb: "stop a built-in job", parts: []part{content}}},
	0x3A: {{sub: none, verb: "tell the result of a built-in job", parts: []part{content}}},
	0x81: {{sub: none, verb: "begin the conversation"}},
	0x82: {{sub: none, verb: "end the conversation"}},
}

// sessions are the modes of ISO 14229-1 table 23.
var sessions = []layout{
	{sub: 1, verb: "go back to normal"},
	{sub: 2, verb: "stop its job and wait for new software"},
	{sub: 3, verb: "open the workshop mode"},
	{sub: 4, verb: "open the mode of the safety systems"},
}

// authentications are the tasks of service 29, ISO 14229-1:2020 clause 10.6.
var authentications = []layout{
	{sub: 0, verb: "end the proof of identity"},
	{sub: 1, verb: "check a certificate", parts: []part{content}},
	{sub: 2, verb: "check a certificate and show its own", parts: []part{content}},
	{sub: 3, verb: "check a proof of ownership", parts: []part{content}},
	{sub: 4, verb: "take a certificate in", parts: []part{content}},
	{sub: 5, verb: "hand out a question for a proof of identity", parts: []part{content}},
	{sub: 6, verb: "check the answer to its question", parts: []part{content}},
	{sub: 7, verb: "check the answer to its question and prove itself too", parts: []part{content}},
	{sub: 8, verb: "tell how identity is proved"},
}

// events are the events of service 86, ISO 14229-1:2020 clause 10.9; 02 is of the edition of 2013. Bit 0x40 stores them.
var events = func() []layout {
	verbs := [...]string{"stop reporting by itself", "report by itself when the state of a code changes", "report by itself at intervals",
		"report by itself when a value changes", "tell which reports are set up", "begin to report by itself", "drop every report that is set up",
		"report by itself when a value passes a limit", "report by itself the code that changed last", "report by itself what a changed code has stored"}
	var out []layout
	for i, v := range verbs {
		out = append(out, layout{sub: i, verb: v, parts: []part{content}},
			layout{sub: i | 0x40, verb: v + ", and keep that when it is switched off", parts: []part{content}})
	}
	return out
}()

// reports are the report types of service 19, ISO 14229-1:2020 table 317; 0F to 13 of the edition of 2013.
var reports = []layout{
	{sub: 0x01, verb: "tell how many trouble codes it holds", parts: []part{mask}},
	{sub: 0x02, verb: "tell its trouble codes", parts: []part{mask}},
	{sub: 0x03, verb: "tell which snapshots it holds"},
	{sub: 0x04, verb: "tell the snapshot kept with a code", parts: []part{code3, record}},
	{sub: 0x05, verb: "tell a stored record by its number", parts: []part{record}},
	{sub: 0x06, verb: "tell the counters kept with a code", parts: []part{code3, record}},
	{sub: 0x07, verb: "tell how many codes of a severity it holds", parts: []part{severity, mask}},
	{sub: 0x08, verb: "tell its codes of a severity", parts: []part{severity, mask}},
	{sub: 0x09, verb: "tell how severe a code is", parts: []part{code3}},
	{sub: 0x0A, verb: "tell every code it can store"},
	{sub: 0x0B, verb: "tell the first code that failed"},
	{sub: 0x0C, verb: "tell the first code that was confirmed"},
	{sub: 0x0D, verb: "tell the latest code that failed"},
	{sub: 0x0E, verb: "tell the latest code that was confirmed"},
	{sub: 0x0F, verb: "tell the codes in its second memory", parts: []part{mask}},
	{sub: 0x10, verb: "tell counters in its second memory", parts: []part{code3, record}},
	{sub: 0x11, verb: "tell how many codes its second memory holds", parts: []part{mask}},
	{sub: 0x12, verb: "tell how many emission codes it holds", parts: []part{mask}},
	{sub: 0x13, verb: "tell its emission codes", parts: []part{mask}},
	{sub: 0x14, verb: "tell how close tests are to failing"},
	{sub: 0x15, verb: "tell its permanent codes"},
	{sub: 0x16, verb: "tell counters by their number", parts: []part{record}},
	{sub: 0x17, verb: "tell the codes of an extra memory", parts: []part{mask, memory}},
	{sub: 0x18, verb: "tell a snapshot of an extra memory", parts: []part{code3, record, memory}},
	{sub: 0x19, verb: "tell counters of an extra memory", parts: []part{code3, record, memory}},
	{sub: 0x1A, verb: "tell which codes keep a kind of counter", parts: []part{record}},
	{sub: 0x42, verb: "tell codes of an area by severity", parts: []part{area, mask, severity}},
	{sub: 0x55, verb: "tell permanent codes of an area", parts: []part{area}},
	{sub: 0x56, verb: "tell codes of a readiness group", parts: []part{area, {1, "Which group", hexText}}},
}

var kindOfMessages = part{1, "Which messages", func(b []byte) string {
	switch b[0] & 3 {
	case 1:
		return "Ordinary messages of the running car."
	case 2:
		return "Messages that keep the network together."
	case 3:
		return "Ordinary messages and those that keep the network together."
	}
	return "A kind of message that the standard does not have."
}}

// asksSeed and bringsKey tell the two halves of service 27 apart: an odd level asks for the seed, the even one after it
// brings the key. 00, 43 to 5E and 7F are kept free (ISO 14229-1 table 43).
func asksSeed(p []byte) bool {
	l := p[1] & 0x7F
	return l&1 == 1 && l != 0x7F && (l < 0x43 || l > 0x5E)
}
func bringsKey(p []byte) bool { l := p[1] & 0x7F; return l&1 == 0 && l != 0 && (l < 0x43 || l > 0x5E) }

// speedText: linkRecord, the rate in bit/s.
func speedText(b []byte) string { return fmt.Sprintf("%d bit/s.", be24(b)) }

// oldPlateText: identificationOption of ISO 14230-3.
func oldPlateText(b []byte) string {
	if _, n, ok := kwp.PlateName(b[0]); ok {
		return fmt.Sprintf("%s (number %02X).", upperFirst(n), b[0])
	}
	return fmt.Sprintf("The maker's own number %02X.", b[0])
}

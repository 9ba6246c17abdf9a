package explain

import (
	"fmt"
	"slices"
)

// olderLayouts are the forms that ISO 14230-3 gives to services whose identifier ISO 14229-1 uses too; see [olderServices].
// Lengths and modes as the open library scapy has them (contrib/automotive/kwp), 2F, 38 and 83 from memory.
var olderLayouts = map[byte][]layout{
	0x10: {
		olderMode(0x81, "go back to normal"),
		olderMode(0x82, "open a mode in which it may repeat values"),
		olderMode(0x85, "stop its job and wait for new software"),
		olderMode(0x86, "open the mode for its developers"),
		olderMode(0x87, "open the mode for adjusting it"),
		olderMode(0x89, "stand by"),
		olderMode(0x90, "keep still"),
		olderMode(0x92, "open the workshop mode"),
		{sub: none, verb: "open a mode of the maker's own", parts: []part{modeOld}, valid: func(p []byte) bool { return p[1] > 0x80 }},
	},
	0x11: {
		{sub: none, verb: "restart as if the battery had been taken off", parts: []part{{1, "How exactly", say("As after power on.")}}, valid: second(0x01)},
		{sub: none, verb: "restart and lose what it has learnt", parts: []part{{1, "How exactly", say("It empties the memory that outlives power off.")}}, valid: second(0x82)},
	},
	0x14: {{sub: none, verb: "forget trouble codes", parts: []part{{2, "Which ones", oldGroupText}}}},
	0x22: {{sub: none, verb: "tell a value", parts: []part{did}},
		{sub: none, verb: "tell a value", parts: []part{did, {1, "How often", paceText}}},
		{sub: none, verb: "tell a value", parts: []part{did, {1, "How often", paceText}, {1, "How many", func(b []byte) string { return count(int(b[0]), "answer.", "answers.") }}}}},
	0x23: {{sub: none, verb: "show raw memory", parts: []part{address3, {1, "How much", sizeText}}},
		{sub: none, verb: "show raw memory again and again", parts: []part{address3, {1, "How much", sizeText}, {1, "How often", paceText}, raw}}},
	0x27: {
		{sub: none, verb: "hand out the question that the key has to answer", parts: []part{levelOld}, valid: func(p []byte) bool { return p[1]&1 == 1 }},
		{sub: none, verb: "take the key to protected functions", parts: []part{levelOld, {some, "Key", hexText}}, valid: func(p []byte) bool { return p[1]&1 == 0 }},
	},
	0x28: {{sub: none, verb: "stop sending ordinary messages", parts: []part{wantsAnswer}}, {sub: none, verb: "stop sending ordinary messages"}},
	0x29: {{sub: none, verb: "send ordinary messages again", parts: []part{wantsAnswer}}, {sub: none, verb: "send ordinary messages again"}},
	0x2C: {
		{sub: none, verb: "make a list of values", parts: []part{localOld, {1, "How exactly", listText}, content}, valid: func(p []byte) bool { return p[2] >= 1 && p[2] <= 3 }},
		{sub: none, verb: "drop a list of values", parts: []part{localOld, {1, "How exactly", listText}}, valid: func(p []byte) bool { return p[2] == 4 }},
	},
	0x2E: {{sub: none, verb: "write a value", parts: []part{did, content}}},
	0x2F: {{sub: none, verb: "operate a part of the car", parts: []part{did, {1, "How", ioOldText}, raw}}},
	0x31: {{sub: none, verb: "run a built-in job", parts: []part{jobOld, raw}}},
	0x34: {{sub: none, verb: "get ready to take software in", parts: []part{address3, {1, "How packed", packingText}, {3, "How much", sizeText}}}},
	0x35: {{sub: none, verb: "get ready to give software out", parts: []part{address3, {1, "How packed", packingText}, {3, "How much", sizeText}}}},
	0x36: {{sub: none, verb: "move a block of software", parts: []part{content}}},
	0x37: {{sub: none, verb: "end moving software", parts: []part{raw}}},
	0x38: {{sub: none, verb: "run a built-in job", parts: []part{address3, raw}}},
	0x3D: {{sub: none, verb: "write raw memory", parts: []part{address3, {1, "How much", sizeText}, content}}},
	0x3E: {{sub: none, verb: "stay awake and keep the conversation open", parts: []part{wantsAnswer}}, {sub: none, verb: "stay awake and keep the conversation open"}},
	0x83: {
		{sub: none, verb: "tell the timing it can do", parts: []part{timingOld}, valid: second(0x00)},
		{sub: none, verb: "go back to its usual timing", parts: []part{timingOld}, valid: second(0x01)},
		{sub: none, verb: "tell its timing now", parts: []part{timingOld}, valid: second(0x02)},
		{sub: none, verb: "take another timing", parts: []part{timingOld, {5, "Which timing", hexText}}, valid: second(0x03)},
	},
	0x84: {{sub: none, verb: "tell or change who talks on the network", parts: []part{content}}},
	0x85: {
		{sub: none, verb: "store codes again", parts: []part{wantsAnswer, {2, "Which ones", oldGroupText}, {1, "How exactly", say("Store them again.")}}, valid: last(0x01)},
		{sub: none, verb: "stop storing codes", parts: []part{wantsAnswer, {2, "Which ones", oldGroupText}, {1, "How exactly", say("Store none.")}}, valid: last(0x02)},
	},
	0x86: {{sub: none, verb: "report by itself when something happens", parts: []part{wantsAnswer, {1, "How long", windowOldText}, {1, "When", eventOldText}, raw}}},
}

var (
	modeOld     = part{1, "How exactly", func(b []byte) string { return fmt.Sprintf("A mode of the maker's own, number %02X.", b[0]) }}
	localOld    = part{1, "Which value", func(b []byte) string { return fmt.Sprintf("The maker's own number %02X.", b[0]) }}
	jobOld      = part{1, "Which job", func(b []byte) string { return fmt.Sprintf("The built-in job %02X.", b[0]) }}
	levelOld    = part{1, "How exactly", func(b []byte) string { return fmt.Sprintf("Level %d of the lock.", (int(b[0])+1)/2) }}
	address3    = part{3, "Where", addressText}
	timingOld   = part{1, "How exactly", func(b []byte) string { return fmt.Sprintf("Variant %02X.", b[0]) }}
	wantsAnswer = part{1, "Whether to answer", func(b []byte) string {
		switch b[0] {
		case 1:
			return "Please answer."
		case 2:
			return "Do not answer."
		}
		return fmt.Sprintf("The standard has no meaning for %02X here.", b[0])
	}}
)

func olderMode(mode byte, verb string) layout {
	return layout{sub: none, verb: verb, parts: []part{{1, "How exactly", say(upperFirst(verb) + ".")}}, valid: second(mode)}
}

func second(b byte) func([]byte) bool { return func(p []byte) bool { return p[1] == b } }
func last(b byte) func([]byte) bool   { return func(p []byte) bool { return p[len(p)-1] == b } }

// paceText: transmissionMode of ISO 14230-3.
func paceText(b []byte) string {
	switch b[0] {
	case 1:
		return "Once."
	case 2:
		return "Again and again, slowly."
	case 3:
		return "Again and again, at a middle pace."
	case 4:
		return "Again and again, fast."
	}
	return fmt.Sprintf("The standard has no meaning for %02X here.", b[0])
}

// listText: definitionMode of ISO 14230-3.
func listText(b []byte) string {
	names := [...]string{"From numbers of its own.", "From raw memory.", "From common numbers.", "Drop it."}
	if b[0] >= 1 && int(b[0]) <= len(names) {
		return names[b[0]-1]
	}
	return hexText(b)
}

// ioOldText: inputOutputControlParameter of ISO 14230-3.
func ioOldText(b []byte) string {
	switch b[0] {
	case 0:
		return "Give control back to the module."
	case 1:
		return "Tell how it is now."
	case 4:
		return "Set it to its basic value."
	case 5:
		return "Hold it as it is."
	case 7:
		return "Set it for a while, as the next bytes say."
	case 8:
		return "Set it for good, as the next bytes say."
	}
	return hexText(b)
}

func windowOldText(b []byte) string {
	switch b[0] {
	case 1:
		return "As long as the tester says that it is there."
	case 2:
		return "Without end."
	case 0x80:
		return "No time is set."
	}
	return hexText(b)
}

// eventOldText: eventType of ISO 14230-3.
func eventOldText(b []byte) string {
	switch b[0] {
	case 0x80:
		return "Tell which reports are set up."
	case 0x81:
		return "Stop reporting."
	case 0x82:
		return "When a new code is stored."
	case 0x83:
		return "At intervals."
	case 0x84:
		return "When a value changes."
	case 0xA0:
		return "When a value passes a limit."
	}
	return hexText(b)
}

// readOlder reads a request payload as a module that speaks ISO 14230-3 does.
func readOlder(p []byte) form {
	if len(p) == 0 {
		return form{problem: worded("There is no request in it.")}
	}
	s := olderServiceOf(p[0])
	if s == nil {
		return form{problem: worded("The older standard has no request %02X.", int(p[0]))}
	}
	if l, shared := olderLayouts[p[0]]; shared {
		return readAs(p, s, l)
	}
	return readAs(p, s, layouts[p[0]])
}

// readFor reads a request payload as its receiver does. A module whose protocol is not known is taken for one of the
// newer standard.
func readFor(p []byte, older bool) form {
	if older {
		return readOlder(p)
	}
	return readForm(p)
}

// otherwise says what a request would mean to a module of the older standard, where that is not the same; differs is false
// when there is nothing to say.
func otherwise(p []byte) (note string, differs bool) {
	if len(p) == 0 || olderByID[p[0]] == nil {
		return "", false
	}
	older, newer := readOlder(p), readForm(p)
	switch {
	case !older.complete:
		return "", false
	case !newer.complete || newer.layout.verb != older.layout.verb:
		return "To a module of the older standard (ISO 14230-3) it would mean: " + older.layout.verb + ".", true
	case slices.Contains(spelledOtherwise, p[0]):
		return "A module of the older standard (ISO 14230-3) would read the bytes after it in another way.", true
	}
	return "", false
}

// spelledOtherwise are services that ask for the same in both standards with parameters of another form.
var spelledOtherwise = []byte{0x23, 0x2F, 0x34, 0x35, 0x3D}

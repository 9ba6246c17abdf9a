package dtc

// Level says how serious a code is for the owner. The levels and their rules are common practice, not a standard's;
// none of them ever says that driving is without risk.
type Level string

const (
	Stop         Level = "STOP"
	WorkshopSoon Level = "WORKSHOP SOON"
	Watch        Level = "WATCH"
	Info         Level = "INFO"
	UnknownLevel Level = "UNKNOWN" // nobody here knows what the code means
)

func (l Level) rank() int {
	switch l {
	case Stop:
		return 3
	case WorkshopSoon:
		return 2
	case Watch:
		return 1
	}
	return 0
}

// judge gives the level of a family in a given state, and the reason in a sentence.
func (a area) judge(v Verdict, lamp bool) (Level, string) {
	l, reason := a.remembered, ""
	switch v {
	case NoResult:
		return Info, "It has not been tested yet, so it is no fault so far."
	case Fine:
		return Info, "The last test found nothing."
	case ThereNow:
		l, reason = a.now, "It is there now: "+a.why+"."
	case CameAndWent:
		l, reason = a.now, "It came and went since switching on: "+a.why+"."
	case Stored:
		l, reason = a.now, "Nobody tells whether it is there now, so it is taken as if it were: "+a.why+"."
	case VerdictUnknown:
		l, reason = a.now, "Its state is not known. This is how to take it if it is there now: "+a.why+"."
	case SeenOnce, Pending:
		reason = "It was seen, but not confirmed."
	case Permanent:
		reason = "It stays in the list until the module has seen the test pass."
	default:
		reason = "It is only remembered."
	}
	if l == a.remembered && l.rank() >= WorkshopSoon.rank() && v != ThereNow && v != CameAndWent && v != Stored && v != VerdictUnknown {
		reason += " Its area (" + a.words + ") is taken seriously all the same."
	}
	if lamp && l.rank() < WorkshopSoon.rank() {
		l, reason = WorkshopSoon, reason+" It asks for a warning lamp."
	}
	return l, reason
}

// levelAdvice is what to do at a level.
func levelAdvice(l Level, v Verdict) string {
	now := v == ThereNow || v == CameAndWent
	switch {
	case l == Stop:
		return "Do not drive. Keep away if it is hot, smells or smokes. Call a workshop."
	case l == WorkshopSoon:
		return "Have a workshop look at it soon. Drive there only if brakes, steering and lamps are normal."
	case l == Watch && now:
		return "Note it, and have it looked at when it suits."
	case l == Watch:
		return "Nothing shows that it is there now. Note it and look again in a week."
	case v == NoResult:
		return "Wait for a result: the module tests when the car is used."
	}
	return "No effect on driving is known."
}

// CarJudgement is the module's own judgement of a code, its severity byte (19 08, 19 09), in a sentence: when to check it
// (bits 7 to 5, ISO 14229-1 annex D.3) and its class by the GTR on on-board diagnostics (bits 4 to 1), where it has one.
// The earliest of several times counts. It is "" when the byte gives neither.
func CarJudgement(severity byte) string {
	when := ""
	switch {
	case severity&0x80 != 0:
		when = "check it at once"
	case severity&0x40 != 0:
		when = "check it at the next halt"
	case severity&0x20 != 0:
		when = "it concerns maintenance only"
	}
	class := ""
	for bit, name := range map[byte]string{0x10: "C", 0x08: "B2", 0x04: "B1", 0x02: "A"} {
		if severity&0x1E == bit {
			class = "emission class " + name
		}
	}
	switch {
	case when == "" && class == "":
		return ""
	case when == "" || class == "":
		return "The car's own judgement: " + when + class + "."
	}
	return "The car's own judgement: " + when + "; " + class + "."
}

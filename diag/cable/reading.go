package cable

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"
)

// Unit of a reading.
type Unit string

const (
	Ohm  Unit = "Ω"
	Volt Unit = "V"
)

// Value is what the meter showed.
type Value struct {
	Number float64 // in ohms or volts; not used when Open
	Unit   Unit    // "" when none was typed
	Open   bool    // beyond the meter's range: OL, open, infinite
}

// ValueError means that a typed value can't be read.
type ValueError struct {
	Text, Why string
}

func (e *ValueError) Error() string { return fmt.Sprintf("cable: reading %q: %s", e.Text, e.Why) }

// openWords are how meters and people say that nothing is connected.
var openWords = map[string]bool{"ol": true, "0l": true, "o.l": true, "o.l.": true, "0.l": true, "open": true, "inf": true, "infinite": true, "infinity": true,
	"∞": true, "overload": true, "---": true}

// units are unit words with their factor; longer words first.
var units = []struct {
	word   string
	factor float64
	unit   Unit
}{
	{"kiloohms", 1e3, Ohm}, {"kiloohm", 1e3, Ohm}, {"megaohms", 1e6, Ohm}, {"megaohm", 1e6, Ohm}, {"megohm", 1e6, Ohm}, {"kohms", 1e3, Ohm}, {"ohms", 1, Ohm},
	{"kohm", 1e3, Ohm}, {"ohm", 1, Ohm}, {"kω", 1e3, Ohm}, {"megω", 1e6, Ohm}, {"ω", 1, Ohm},
	{"millivolts", 1e-3, Volt}, {"millivolt", 1e-3, Volt}, {"volts", 1, Volt}, {"volt", 1, Volt}, {"mv", 1e-3, Volt}, {"v", 1, Volt},
	{"k", 1e3, Ohm}, {"meg", 1e6, Ohm}, {"r", 1, Ohm},
}

// big and small find the letter M in front of ohms or at the end: a capital stands for a million, a small one for a
// thousandth, and people mix them up.
var (
	big   = regexp.MustCompile(`^([^A-Za-z]*)M((?i:ohms?|Ω|Ω|ω)?|[0-9]+)$`)
	small = regexp.MustCompile(`^[^A-Za-z]*m((?i:ohms?|Ω|Ω|ω)?|[0-9]+)$`)
)

// mostOhms and mostVolts are beyond what a meter shows in these places.
const (
	mostOhms  = 1e9
	mostVolts = 100
)

// Parse reads a value as people type it: 60.4, 60,4 Ω, 0.3 ohm, 1k2, 4R7, 2.2M, 250 mV, OL, open. A resistance that was
// measured with the probes both ways round is two values with a stroke between them, 60.4 / 60.8: it is their mean, unless a
// voltage makes them differ. Every error is a [*ValueError].
func Parse(text string) (Value, error) {
	fail := func(why string) (Value, error) { return Value{}, &ValueError{text, why} }
	if a, b, both := strings.Cut(text, "/"); both {
		return parseBoth(text, a, b)
	}
	words := strings.Fields(text)
	for i := 1; i < len(words); i++ {
		if strings.ContainsAny(words[i-1][len(words[i-1])-1:], "0123456789") && strings.ContainsAny(words[i][:1], "0123456789") {
			return fail("there are two numbers")
		}
	}
	s := strings.Join(words, "")
	if small.MatchString(s) {
		return fail("m stands for a thousandth and M for a million; write 1 MΩ, or 0.3 Ω")
	}
	if m := big.FindStringSubmatch(s); m != nil && digits(m[2]) {
		s = m[1] + "." + m[2] + "meg"
	} else if m != nil {
		s = m[1] + "meg"
	}
	s = strings.ToLower(s)
	s = strings.NewReplacer("Ω", "ω", "Ω", "ω", "−", "-", "–", "-").Replace(s) // the ohm sign and the Greek letter; minus signs
	s = strings.TrimLeft(s, "=~≈")
	switch {
	case s == "":
		return fail("nothing is typed")
	case openWords[s] || openWords[strings.TrimRight(s, "mkωohs")]:
		return Value{Open: true, Unit: unitOf(s)}, nil
	case strings.HasPrefix(s, ">"):
		return overRange(text, s[1:])
	case strings.HasPrefix(s, "<"):
		return Parse(s[1:]) // not more than this: judged as this
	}
	if v, ok := infix(s); ok {
		return v.checked(text)
	}
	v := Value{}
	factor := 1.0
	for _, u := range units {
		if rest, ok := strings.CutSuffix(s, u.word); ok {
			s, factor, v.Unit = rest, u.factor, u.unit
			break
		}
	}
	n, why := number(s)
	if why != "" {
		return fail(why)
	}
	v.Number = n * factor
	return v.checked(text)
}

// parseBoth reads a resistance and the same one with the probes swapped.
func parseBoth(text, a, b string) (Value, error) {
	fail := func(why string) (Value, error) { return Value{}, &ValueError{text, why} }
	if strings.Contains(b, "/") {
		return fail("there are more than two values; write one for each way round, as 60.4 / 60.8")
	}
	var values [2]Value
	for i, s := range []string{a, b} {
		v, err := Parse(s)
		switch {
		case err != nil:
			return Value{}, err
		case v.Unit == Volt:
			return fail("only a resistance is measured with the probes both ways round")
		}
		values[i] = v
	}
	mean, ok := probes(values[0], values[1])
	if !ok {
		return fail("the two values differ by more than 3 Ω, so a voltage is present and this is no resistance; wait until the car sleeps, and measure again")
	}
	return mean, nil
}

func unitOf(s string) Unit {
	if strings.ContainsAny(s, "ωhm") {
		return Ohm
	}
	return ""
}

// overRange is a value that the meter gave as more than something.
func overRange(text, s string) (Value, error) {
	v, err := Parse(s)
	if err != nil {
		return Value{}, &ValueError{text, "behind > a value is missing"}
	}
	if v.Unit != Volt && v.Number >= 1e6 {
		return Value{Open: true, Unit: v.Unit}, nil
	}
	return v, nil
}

// infix reads the notation of parts lists, in which the unit stands for the decimal point: 1k2, 4r7.
func infix(s string) (Value, bool) {
	for _, m := range []struct {
		mark   string
		factor float64
	}{{"k", 1e3}, {"r", 1}} {
		left, right, ok := strings.Cut(s, m.mark)
		right = strings.TrimRight(right, "ω")
		if !ok || !digits(left) || !digits(right) {
			continue
		}
		n, err := strconv.ParseFloat(left+"."+right, 64)
		if err != nil {
			return Value{}, false
		}
		return Value{Number: n * m.factor, Unit: Ohm}, true
	}
	return Value{}, false
}

func digits(s string) bool {
	return s != "" && strings.IndexFunc(s, func(r rune) bool { return !unicode.IsDigit(r) }) < 0
}

// number reads a number with a decimal point or comma; why says what is wrong with it.
func number(s string) (n float64, why string) {
	if strings.Count(s, ",")+strings.Count(s, ".") > 1 {
		return 0, "it has more than one decimal sign"
	}
	plain := strings.Replace(s, ",", ".", 1)
	if plain == "" || strings.IndexFunc(plain, func(r rune) bool { return !(r >= '0' && r <= '9' || r == '.' || r == '-' || r == '+') }) >= 0 {
		return 0, "this is not a number with a unit of Ω or V, and not OL"
	}
	n, err := strconv.ParseFloat(plain, 64)
	if err != nil {
		return 0, "this is not a number"
	}
	return n, ""
}

func (v Value) checked(text string) (Value, error) {
	most := mostOhms
	if v.Unit == Volt {
		most = mostVolts
	}
	if math.Abs(v.Number) > most {
		return Value{}, &ValueError{text, "no meter shows this much here"}
	}
	return v, nil
}

// String writes the value as it is kept: ohms with one decimal, what is larger or in volts with two; or "open".
func (v Value) String() string {
	if v.Open {
		return "open"
	}
	number, unit := v.Number, string(v.Unit)
	if v.Unit == Ohm {
		switch {
		case math.Abs(number) >= 1e6:
			number, unit = number/1e6, "MΩ"
		case math.Abs(number) >= 1e3:
			number, unit = number/1e3, "kΩ"
		}
	}
	digits := 1
	if unit != string(Ohm) {
		digits = 2
	}
	text := strconv.FormatFloat(number, 'f', digits, 64)
	return strings.TrimSpace(text + " " + unit)
}

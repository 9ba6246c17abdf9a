package app

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"readback/diag/talk"
)

// spelled is a small number as a word, a larger one in digits.
func spelled(n int) string {
	if n < 0 || n > 12 {
		return fmt.Sprint(n)
	}
	return T(fmt.Sprintf("number.%d", n))
}

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// when is a time as a person says it.
func when(t, now time.Time) string {
	t, now = t.Local(), now.Local()
	switch {
	case t.IsZero():
		return T("time.never")
	case t.Year() == now.Year() && t.YearDay() == now.YearDay():
		return T("time.today", "Time", clock(t))
	case t.Year() == now.Year():
		return T("time.day", "Day", dated("date.day", t), "Time", clock(t))
	}
	return T("time.day", "Day", day(t), "Time", clock(t))
}

// day is a date with its year.
func day(t time.Time) string { return spokenTongue().Day(t.Local()) }

// dated writes a date in a form of the catalogue.
func dated(form string, t time.Time) string {
	t = t.Local()
	return T(form, "Day", t.Day(), "Month", spokenTongue().Month(t.Month()), "Short", T(fmt.Sprintf("month.short.%d", t.Month())), "Year", t.Year(), "Time", clock(t))
}

// clock is a time of day, clockSeconds with its seconds, clockFine with thousandths.
func clock(t time.Time) string        { return t.Local().Format("15:04") }
func clockSeconds(t time.Time) string { return t.Local().Format("15:04:05") }
func clockFine(t time.Time) string    { return figures(t.Local().Format("15:04:05.000")) }

// decimal writes a number with so many digits behind the decimal mark.
func decimal(v float64, digits int) string { return figures(strconv.FormatFloat(v, 'f', digits, 64)) }

// lasting is a time span with a unit that suits it.
func lasting(d time.Duration) string { return figures(talk.Lasting(d)) }

// sentences puts whole sentences one after the other; those that are empty are left out.
func sentences(all ...string) string {
	var said []string
	for _, s := range all {
		if s != "" {
			said = append(said, s)
		}
	}
	return strings.Join(said, " ")
}

// leadIn is a sentence in bold and what follows it.
func leadIn(head, text string) string { return T("lead-in", "Head", head, "Text", text) }

// age is how long ago something was.
func age(d time.Duration) string {
	switch {
	case d < 2*time.Second:
		return T("age.now")
	case d < 2*time.Minute:
		return T("age.seconds", "N", int(d.Seconds()))
	}
	return T("age.minutes", "N", int(d.Minutes()))
}

// unbroken is a text that stays in one row if the row has room for it.
func unbroken(s string) string { return strings.ReplaceAll(s, " ", "\u00a0") }

// dots joins what is not empty with a dot in the middle.
func dots(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, " · ")
}

// bytesOf writes bytes as spaced hex.
func bytesOf(b []byte) string { return fmt.Sprintf("% X", b) }

// spaced writes hex digits in pairs.
func spaced(hex string) string {
	var b strings.Builder
	for i := 0; i < len(hex); i += 2 {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(hex[i:min(i+2, len(hex))])
	}
	return b.String()
}

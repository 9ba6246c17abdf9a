package app

import (
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
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
		return T("time.today", "Time", t.Format("15:04"))
	case t.Year() == now.Year():
		return T("time.day", "Day", t.Format("2 January"), "Time", t.Format("15:04"))
	}
	return T("time.day", "Day", t.Format("2 January 2006"), "Time", t.Format("15:04"))
}

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

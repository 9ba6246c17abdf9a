package app

import (
	"embed"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/lang"
)

// catalogue holds every text of the window, one file a language.
//
//go:embed text
var catalogue embed.FS

// LoadText gives the catalogue to Fyne. The English texts also stand in for the language of this system while the
// catalogue has no file for it.
func LoadText() error {
	if err := lang.AddTranslationsFS(catalogue, "text"); err != nil {
		return fmt.Errorf("app: reading the catalogue of texts: %w", err)
	}
	here := lang.SystemLocale()
	if _, err := catalogue.ReadFile("text/" + here.LanguageString() + ".json"); err == nil || strings.HasPrefix(here.LanguageString(), "en") {
		return nil
	}
	b, err := catalogue.ReadFile("text/en.json")
	if err != nil {
		return fmt.Errorf("app: reading the English texts: %w", err)
	}
	if err := lang.AddTranslationsForLocale(b, fyne.Locale(here)); err != nil {
		return fmt.Errorf("app: reading the English texts: %w", err)
	}
	return nil
}

// english are the texts that stand in where a translation has a gap.
var english = sync.OnceValue(func() map[string]string {
	out := map[string]string{}
	b, err := catalogue.ReadFile("text/en.json")
	if err != nil {
		return out
	}
	var raw map[string]any
	if json.Unmarshal(b, &raw) != nil {
		return out
	}
	for k, v := range raw {
		switch x := v.(type) {
		case string:
			out[k] = x
		case map[string]any:
			out[k], _ = x["other"].(string)
		}
	}
	return out
})

func fallback(key string) string {
	if s, ok := english()[key]; ok {
		return s
	}
	return key
}

func pairs(kv []any) map[string]any {
	data := map[string]any{}
	for i := 0; i+1 < len(kv); i += 2 {
		data[fmt.Sprint(kv[i])] = kv[i+1]
	}
	return data
}

// T is the text with a key. kv are pairs of a name and the value that stands for it in the text.
func T(key string, kv ...any) string { return lang.X(key, fallback(key), pairs(kv)) }

// N is the text with a key in the form for n things; the text calls the number N.
func N(key string, n int, kv ...any) string {
	data := pairs(kv)
	data["N"] = n
	return lang.XN(key, fallback(key), n, data)
}

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

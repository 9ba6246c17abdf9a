package app

import (
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/lang"
	"github.com/nicksnyder/go-i18n/v2/i18n"
	"golang.org/x/text/language"
)

// catalogue holds every text of the window, one file a language.
//
//go:embed text
var catalogue embed.FS

// Language is a language of the catalogue.
type Language struct {
	Tag  string // BCP 47, such as "de"
	Name string // in the language itself
}

// ErrNoLanguage is the error for a language that the catalogue does not have.
var ErrNoLanguage = errors.New("app: the catalogue has no such language")

// texts are all languages of the catalogue, English first: it stands in where another one has a gap.
type texts struct {
	bundle    *i18n.Bundle
	languages []Language
	speakers  map[string]*i18n.Localizer
	err       error
}

// loaded is the catalogue. Fyne's own catalogue (package lang) follows the system alone and can't be told a language; the
// texts stand in a bundle of the same library beside it.
var loaded = sync.OnceValue(func() texts {
	t := texts{bundle: i18n.NewBundle(language.English), speakers: map[string]*i18n.Localizer{}}
	t.bundle.RegisterUnmarshalFunc("json", json.Unmarshal)
	files, err := catalogue.ReadDir("text")
	if err != nil {
		t.err = fmt.Errorf("app: reading the catalogue of texts: %w", err)
		return t
	}
	for _, f := range files {
		if f.IsDir() { // the engine's own sentences
			continue
		}
		if _, err := t.bundle.LoadMessageFileFS(catalogue, "text/"+f.Name()); err != nil {
			t.err = errors.Join(t.err, fmt.Errorf("app: reading the texts %s: %w", f.Name(), err))
			continue
		}
		tag := strings.TrimSuffix(f.Name(), ".json")
		t.speakers[tag] = i18n.NewLocalizer(t.bundle, tag)
		name := localized(t.speakers[tag], &i18n.LocalizeConfig{MessageID: "language.name"})
		at := len(t.languages)
		if tag == "en" {
			at = 0
		}
		t.languages = append(t.languages[:at:at], append([]Language{{Tag: tag, Name: name}}, t.languages[at:]...)...)
	}
	return t
})

// inUse is the language that the window speaks; nil is English.
var inUse atomic.Pointer[Language]

// Languages are the languages of the catalogue, English first.
func Languages() []Language { return append([]Language(nil), loaded().languages...) }

// Spoken is the tag of the language that the window speaks.
func Spoken() string {
	if l := inUse.Load(); l != nil {
		return l.Tag
	}
	return "en"
}

// UseLanguage makes the window speak a language of the catalogue: "de", or a tag of a country such as "de-AT" or
// "de_AT.UTF-8". "" follows the system, and is English where the catalogue lacks its language. It is called before the
// window is built: what is drawn already keeps its words. A language that the catalogue does not have is
// [ErrNoLanguage], and the window speaks as with "".
func UseLanguage(tag string) error {
	t := loaded()
	system := lang.SystemLocale().LanguageString()
	l, ok := t.closest(system)
	if !ok {
		l = Language{Tag: "en", Name: "English"}
	}
	err := t.err
	if tag != "" {
		if chosen, ok := t.closest(tag); ok {
			l = chosen
		} else {
			err = errors.Join(err, fmt.Errorf("%w: %q", ErrNoLanguage, tag))
		}
	}
	inUse.Store(&l)
	return errors.Join(err, followedByFyne(system))
}

// closest is the language of the catalogue that a tag asks for.
func (t texts) closest(tag string) (Language, bool) {
	short, _, _ := strings.Cut(strings.ReplaceAll(tag, "_", "-"), "-")
	short, _, _ = strings.Cut(short, ".")
	for _, l := range t.languages {
		if strings.EqualFold(l.Tag, short) {
			return l, true
		}
	}
	return Language{}, false
}

// fyneWords are Fyne's own words that can be seen in this window: in the choice of a file and in the menu of a field.
var fyneWords = []string{"Cancel", "Copy", "Create Folder", "Cut", "Enter filename", "Error", "Favourites", "File", "Folder", "New Folder", "No", "Open", "Paste",
	"Quit", "Redo", "Save", "Select all", "Show Hidden Files", "Undo", "Yes", "file.name", "file.parent"}

// followedByFyne makes Fyne's own words follow, in place of those that it has for the language of the system.
func followedByFyne(system string) error {
	words := map[string]string{}
	for _, k := range fyneWords {
		words[k] = T("fyne." + k)
	}
	b, err := json.Marshal(words)
	if err != nil {
		return fmt.Errorf("app: writing Fyne's words: %w", err)
	}
	if err := lang.AddTranslationsForLocale(b, fyne.Locale(system)); err != nil {
		return fmt.Errorf("app: giving Fyne its words: %w", err)
	}
	return nil
}

func pairs(kv []any) map[string]any {
	data := map[string]any{}
	for i := 0; i+1 < len(kv); i += 2 {
		data[fmt.Sprint(kv[i])] = kv[i+1]
	}
	return data
}

// T is the text with a key. kv are pairs of a name and the value that stands for it in the text.
func T(key string, kv ...any) string { return speak(key, nil, pairs(kv)) }

// N is the text with a key in the form for n things; the text calls the number N.
func N(key string, n int, kv ...any) string {
	data := pairs(kv)
	data["N"] = n
	return speak(key, n, data)
}

// speak is a text in the language that the window speaks. A text that the catalogue does not have shows its key.
func speak(key string, count any, data map[string]any) string {
	if s := localized(loaded().speakers[Spoken()], &i18n.LocalizeConfig{MessageID: key, TemplateData: data, PluralCount: count}); s != "" {
		return s
	}
	return key
}

// localized is what a speaker makes of a text; the English text where its language has none, "" where there is none at all.
func localized(l *i18n.Localizer, c *i18n.LocalizeConfig) string {
	if l == nil {
		return ""
	}
	s, err := l.Localize(c)
	if err != nil {
		return s // of what went wrong here the text itself is the best sign
	}
	return s
}

package app

import (
	"cmp"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
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

// texts are the languages of the catalogue, English first: it stands in where another one has a gap. Each is read when it
// is first spoken.
type texts struct {
	tags     []string
	speakers map[string]func() (*i18n.Localizer, error)
	err      error
}

// loaded is the catalogue. Fyne's own catalogue (package lang) follows the system alone and can't be told a language; the
// texts stand in bundles of the same library beside it.
var loaded = sync.OnceValue(func() texts {
	t := texts{speakers: map[string]func() (*i18n.Localizer, error){}}
	files, err := catalogue.ReadDir("text")
	if err != nil {
		t.err = fmt.Errorf("app: reading the catalogue of texts: %w", err)
		return t
	}
	for _, f := range files {
		tag := strings.TrimSuffix(f.Name(), ".json")
		at := len(t.tags)
		if tag == firstTag {
			at = 0
		}
		t.tags = slices.Insert(t.tags, at, tag)
		t.speakers[tag] = sync.OnceValues(func() (*i18n.Localizer, error) { return speaker(tag) })
	}
	return t
})

// firstTag is the language that stands in for gaps.
const firstTag = "en"

// speaker reads a language, with English behind it.
func speaker(tag string) (*i18n.Localizer, error) {
	b := i18n.NewBundle(language.English)
	b.RegisterUnmarshalFunc("json", json.Unmarshal)
	var err error
	for _, t := range slices.Compact([]string{firstTag, tag}) {
		if _, e := b.LoadMessageFileFS(catalogue, "text/"+t+".json"); e != nil {
			err = errors.Join(err, fmt.Errorf("app: reading the texts %s: %w", t, e))
		}
	}
	return i18n.NewLocalizer(b, tag), err
}

// speaks is the speaker of a language, nil when there is none.
func (t texts) speaks(tag string) (*i18n.Localizer, error) {
	if read := t.speakers[tag]; read != nil {
		return read()
	}
	return nil, nil
}

// inUse is the tag of the language that the window speaks; nil is English.
var inUse atomic.Pointer[string]

// Languages are the languages of the catalogue, English first.
func Languages() []Language {
	var all []Language
	for _, tag := range loaded().tags {
		l, _ := loaded().speaks(tag) // what could not be read shows its tag
		all = append(all, Language{Tag: tag, Name: cmp.Or(localized(l, &i18n.LocalizeConfig{MessageID: "language.name"}), tag)})
	}
	return all
}

// Spoken is the tag of the language that the window speaks.
func Spoken() string {
	if tag := inUse.Load(); tag != nil {
		return *tag
	}
	return firstTag
}

// UseLanguage makes the window speak a language of the catalogue: "de", or a tag of a country such as "de-AT" or
// "de_AT.UTF-8". "" follows the system, and is English where the catalogue lacks its language. It is called before the
// window is built: what is drawn already keeps its words. A language that the catalogue does not have is
// [ErrNoLanguage], and the window speaks as with "".
func UseLanguage(tag string) error {
	t := loaded()
	system := lang.SystemLocale().LanguageString()
	use := cmp.Or(t.closest(system), firstTag)
	err := t.err
	if tag != "" {
		if chosen := t.closest(tag); chosen != "" {
			use = chosen
		} else {
			err = errors.Join(err, fmt.Errorf("%w: %q", ErrNoLanguage, tag))
		}
	}
	inUse.Store(&use)
	inTongue.Store(tongueOf(use))
	_, read := t.speaks(use)
	return errors.Join(err, read, followedByFyne(system))
}

// closest is the tag of the catalogue's language that a tag asks for, "" when it has none.
func (t texts) closest(tag string) string {
	short, _, _ := strings.Cut(strings.ReplaceAll(tag, "_", "-"), "-")
	short, _, _ = strings.Cut(short, ".")
	for _, have := range t.tags {
		if strings.EqualFold(have, short) {
			return have
		}
	}
	return ""
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
	l, _ := loaded().speaks(Spoken()) // UseLanguage has told what is wrong with it
	if s := localized(l, &i18n.LocalizeConfig{MessageID: key, TemplateData: data, PluralCount: count}); s != "" {
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

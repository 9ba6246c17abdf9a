package app

import (
	"errors"
	"io/fs"
	"testing"
	"unicode"

	"fyne.io/fyne/v2/lang"
	"fyne.io/fyne/v2/test"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"readback/app/look"
)

// TestUseLanguage: a language of the catalogue by its tag or by that of a country, the system's language where none is
// asked for, and English where there is no other.
func TestUseLanguage(t *testing.T) {
	t.Cleanup(func() {
		if err := UseLanguage("en"); err != nil {
			t.Error(err)
		}
	})
	if all := Languages(); len(all) == 0 || all[0] != (Language{Tag: "en", Name: "English"}) {
		t.Fatalf("languages: %v", all)
	}
	for _, c := range []struct {
		system, tag, want string
		unknown           bool
	}{
		{"en_GB.UTF-8", "", "en", false}, {"nl_NL.UTF-8", "", "en", false}, {"nl_NL.UTF-8", "en", "en", false}, {"en_GB.UTF-8", "en-US", "en", false},
		{"en_GB.UTF-8", "xx", "en", true}, {"de_AT.UTF-8", "", "de", false}, {"de_DE.UTF-8", "en", "en", false}, {"en_GB.UTF-8", "de_CH.UTF-8", "de", false},
	} {
		for _, name := range []string{"LANGUAGE", "LC_ALL", "LC_MESSAGES"} {
			t.Setenv(name, "")
		}
		t.Setenv("LANG", c.system)
		if err := UseLanguage(c.tag); errors.Is(err, ErrNoLanguage) != c.unknown || !c.unknown && err != nil {
			t.Errorf("%s on a system with %s: %v", c.tag, c.system, err)
		}
		if got := Spoken(); got != c.want {
			t.Errorf("%q on a system with %s: speaks %q, want %q", c.tag, c.system, got, c.want)
		}
		if got, want := lang.L("Cancel"), T("fyne.Cancel"); got != want {
			t.Errorf("%q on a system with %s: Fyne says %q, want %q", c.tag, c.system, got, want)
		}
	}
}

// TestLettersAreThere: the window's own fonts have every letter of its texts and of the engine's sentences in other
// languages. A letter that they lack would come from whatever font the system has, or from none.
func TestLettersAreThere(t *testing.T) {
	font, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[rune]bool{}
	err = fs.WalkDir(catalogue, "text", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := catalogue.ReadFile(path)
		for _, r := range string(text) {
			if seen[r] || unicode.IsControl(r) {
				continue
			}
			seen[r] = true
			if i, err := font.GlyphIndex(nil, r); err != nil || i == 0 {
				t.Errorf("%s: the fonts have no %q (%v)", path, r, err)
			}
		}
		return err
	})
	if err != nil || len(seen) < 80 {
		t.Errorf("%d letters: %v", len(seen), err)
	}
}

// TestPagesFitGermanLarge: German words are longer than English ones; nothing is cut at twice the size of text either. At
// the usual size [TestGolden] looks.
func TestPagesFitGermanLarge(t *testing.T) {
	a := test.NewTempApp(t)
	for i, s := range scenes {
		if !watched(i) {
			continue
		}
		t.Run(s.name, func(t *testing.T) {
			in := s.setup
			in.app, in.shade, in.factor, in.language = a, look.ShadeLight, 2, "de"
			if in.log != nil {
				in.log = in.log.again()
			}
			b := newBench(t, in)
			s.reach(b)
			b.picture(s.name + "-de-large")
			fits(t, b.win)
		})
	}
}

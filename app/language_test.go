package app

import (
	"errors"
	"testing"

	"fyne.io/fyne/v2/lang"
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
		{"en_GB.UTF-8", "xx", "en", true},
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

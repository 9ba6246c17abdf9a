package locale

import "testing"

// TestNameless: the variables in the order in which they decide (POSIX.1-2017, 8.2).
func TestNameless(t *testing.T) {
	for _, c := range []struct {
		all, messages, lang, want string
	}{
		{"", "", "", "LANG"}, {"", "", "C", "LANG"}, {"", "", "C.UTF-8", "LANG"}, {"", "", "POSIX", "LANG"}, {"", "", "C.utf8", "LANG"},
		{"C.UTF-8", "", "de_DE.UTF-8", "LC_ALL"}, {"", "C", "de_DE.UTF-8", "LC_MESSAGES"},
		{"", "", "de_DE.UTF-8", ""}, {"", "", "cs_CZ.UTF-8", ""}, {"en_GB.UTF-8", "C", "C", ""}, {"", "", "CY", ""}, {"", "", "POSIXLY", ""},
	} {
		env := map[string]string{"LC_ALL": c.all, "LC_MESSAGES": c.messages, "LANG": c.lang}
		got, ok := nameless(func(name string) string { return env[name] })
		if got != c.want || ok != (c.want != "") {
			t.Errorf("%v: %q %v, want %q", env, got, ok, c.want)
		}
	}
}

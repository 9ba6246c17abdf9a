package assets

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

// The list is read whole, and its versions are those of go.mod. That it names all that it should is a test of the chore
// which writes it.
func TestLicences(t *testing.T) {
	mod, err := os.ReadFile("../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	version := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^\t(\S+) (v\S+)`).FindAllStringSubmatch(string(mod), -1) {
		version[m[1]] = m[2]
	}
	list := Licences()
	if got, want := len(list), strings.Count(licences, "\n@@"); got != want || got < 20 {
		t.Errorf("%d licences, the text has %d", got, want)
	}
	last := ""
	for _, l := range list {
		if l.Name <= last {
			t.Errorf("%q comes after %q", l.Name, last)
		}
		last = l.Name
		if l.Kind == "" || len(l.Text) < 80 || strings.Contains(l.Text, "@@\t") {
			t.Errorf("%s: kind %q, text of %d bytes", l.Name, l.Kind, len(l.Text))
		}
		if host, _, _ := strings.Cut(l.Name, "/"); strings.Contains(host, ".") && version[l.Name] != l.Version {
			t.Errorf("%s is %s here and %q in go.mod", l.Name, l.Version, version[l.Name])
		}
	}
}

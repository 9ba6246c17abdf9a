package assets

import (
	"os"
	"regexp"
	"testing"
)

// Three numbers, of which a Windows resource and a Debian package can be made; FyneApp.toml has the same.
func TestVersion(t *testing.T) {
	if !regexp.MustCompile(`^(0|[1-9]\d{0,3})\.(0|[1-9]\d{0,3})\.(0|[1-9]\d{0,3})$`).MatchString(Version) {
		t.Errorf("version %q", Version)
	}
	toml, err := os.ReadFile("../FyneApp.toml")
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(`(?m)^Version = "(.*)"$`).FindSubmatch(toml)
	if m == nil || string(m[1]) != Version {
		t.Errorf("FyneApp.toml has %q, package assets %q", m, Version)
	}
}

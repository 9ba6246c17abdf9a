package ports

import (
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"testing"
)

// The command names the group that the port belongs to, but never root's.
func TestGiveRights(t *testing.T) {
	name := filepath.Join(t.TempDir(), "port")
	if err := os.WriteFile(name, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	gid := os.Getgid()
	if os.Getuid() == 0 { // only root may give it to a group
		if g, err := user.LookupGroup("dialout"); err == nil {
			if gid, err = strconv.Atoi(g.Gid); err != nil {
				t.Fatal(err)
			}
			if err := os.Chown(name, -1, gid); err != nil {
				t.Fatal(err)
			}
		}
	}
	want := ""
	if g, err := user.LookupGroupId(strconv.Itoa(gid)); err == nil && gid != 0 {
		want = `sudo usermod -a -G ` + g.Name + ` "$USER"`
	}
	if got := giveRights(name); got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := giveRights(name + "none"); got != "" {
		t.Errorf("%q for no port", got)
	}
	if refused(name) || refused(name+"none") {
		t.Error("a port that may be opened, or is not there, counts as refused")
	}
}

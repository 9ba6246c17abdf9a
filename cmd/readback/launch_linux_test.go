package main

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// A graphics driver or a desktop may start something that lives on with the output of the check: that answers all the same.
func TestCheckLeavesSomethingBehind(t *testing.T) {
	self := filepath.Join(t.TempDir(), "readback")
	script := "#!/bin/sh\nsleep 600 &\necho $! >\"$0.left\"\necho '{\"gl\": \"4.5\", \"width\": 1280}'\n"
	if err := os.WriteFile(self, []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		text, err := os.ReadFile(self + ".left")
		if err != nil {
			t.Error(err)
			return
		}
		if pid, err := strconv.Atoi(strings.TrimSpace(string(text))); err != nil || syscall.Kill(pid, syscall.SIGKILL) != nil {
			t.Errorf("what was left behind could not be ended: %s, %v", text, err)
		}
	})
	if s := check(self); s.GL != "4.5" || s.Width != 1280 || s.Cause != "" {
		t.Errorf("%+v", s)
	}
}

// TestGuardIsTold: the guard hears that it is not needed once, whoever says it and how often; a guard that could not be started is
// none.
func TestGuardIsTold(t *testing.T) {
	self := filepath.Join(t.TempDir(), "readback")
	if err := os.WriteFile(self, []byte("#!/bin/sh\necho \"$"+roleVar+"\" >\"$0.heard\"\ncat >>\"$0.heard\"\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	g, err := newGuard(self)
	if err != nil {
		t.Fatal(err)
	}
	g.dismiss()
	g.dismiss()
	if heard, err := os.ReadFile(self + ".heard"); err != nil || string(heard) != roleGuard+"\n"+string(dismissal) {
		t.Errorf("heard %q, %v", heard, err)
	}
	g, err = newGuard(self + " that is not there")
	if g != nil || err == nil {
		t.Errorf("%v, %v", g, err)
	}
	g.dismiss()
}

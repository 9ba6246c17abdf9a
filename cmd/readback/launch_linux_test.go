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

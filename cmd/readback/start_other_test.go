//go:build !windows

package main

import (
	"bytes"
	"testing"
)

// TestLateLog: what is logged before the display has been checked is written after that, and not at all when nobody opens it.
func TestLateLog(t *testing.T) {
	var to bytes.Buffer
	l := &lateLog{to: &to}
	say := func(text string) {
		if n, err := l.Write([]byte(text)); n != len(text) || err != nil {
			t.Errorf("%q: %d, %v", text, n, err)
		}
	}
	say("one ")
	say("two ")
	if to.Len() != 0 {
		t.Errorf("written before it was opened: %q", to.String())
	}
	l.open()
	say("three")
	l.open()
	if got := to.String(); got != "one two three" {
		t.Errorf("written: %q", got)
	}
}

package main

import (
	"strings"
	"testing"
)

// TestStandGuard: a guard that is dismissed says nothing; one whose line ends says what is in the way of a window.
func TestStandGuard(t *testing.T) {
	for name, c := range map[string]struct {
		line string
		is   screen
		want string // "" is silence
		code int
	}{
		"a first picture":              {line: ".", is: screen{Cause: crashed}, code: exitDone},
		"gone, the driver crashes":     {is: screen{Cause: crashed}, want: "graphics driver ended unexpectedly", code: exitNoDisplay},
		"gone, for no reason found":    {is: screen{GL: "4.5"}, want: "before its first picture", code: exitFailed},
		"something else on the line":   {line: "x", is: screen{Cause: hung}, want: "did not answer", code: exitNoDisplay},
		"more than the dismissal said": {line: "..", is: screen{Cause: hung}, code: exitDone},
	} {
		var said strings.Builder
		code := standGuard(strings.NewReader(c.line), func() screen { return c.is }, func(text string) { said.WriteString(text) })
		if code != c.code || !strings.Contains(said.String(), c.want) || (c.want == "") != (said.Len() == 0) {
			t.Errorf("%s: code %d, said %q", name, code, said.String())
		}
	}
}

package link_test

import (
	"errors"
	"fmt"
	"testing"

	"readback/diag/link"
)

func TestErrorsOfOneMessage(t *testing.T) {
	for name, c := range map[string]struct {
		err              error
		passing, damaged bool
	}{
		"a torn message":           {&link.TornError{Cause: errors.New("wrong sequence number")}, true, true},
		"silence":                  {&link.SilenceError{Text: "NO DATA"}, true, false},
		"an alert":                 {&link.AdapterError{Text: "LV RESET"}, true, false},
		"an alert of a bad line":   {&link.AdapterError{Text: "DATA ERROR", Damaged: true}, true, true},
		"a wrapped torn message":   {fmt.Errorf("codes: %w", &link.TornError{Cause: errors.New("overflow")}), true, true},
		"the adapter has gone":     {link.ErrGone, false, false},
		"closed":                   {link.ErrClosed, false, false},
		"not sent":                 {link.ErrNotSent, false, false},
		"no error":                 {nil, false, false},
		"an error of another kind": {errors.New("short"), false, false},
	} {
		if link.Passing(c.err) != c.passing || link.Damaged(c.err) != c.damaged {
			t.Errorf("%s: passing %t, damaged %t", name, link.Passing(c.err), link.Damaged(c.err))
		}
	}
}

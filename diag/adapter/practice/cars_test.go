package practice

import (
	"fmt"
	"testing"
	"testing/synctest"

	"readback/diag/simcar"

	"go.einride.tech/can"
)

// The car that refuses: each module that is asked to erase says 7F 14 33, "security access denied" (ISO 14229-1, table
// A.1), and what it has stored is the same afterwards.
func TestRefusingGateway(t *testing.T) {
	spec, err := simcar.Load("refusing-gateway")
	if err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		c := open(t, "practice:refusing-gateway")
		// ask is the first frame of the answer to a request.
		ask := func(m *simcar.Module, request ...byte) can.Frame {
			f := can.Frame{ID: m.Request.Value, IsExtended: m.Request.Extended, Length: 8}
			f.Data[0] = byte(len(request))
			copy(f.Data[1:], request)
			if err := c.Bus().Send(t.Context(), f); err != nil {
				t.Fatal(err)
			}
			for {
				r, err := c.Bus().Receive(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if r.Frame.ID == m.Answer.Value {
					return r.Frame
				}
			}
		}
		for name, m := range spec.Modules {
			count := ask(m, 0x19, 0x01, 0x08) // how many confirmed codes
			if got := ask(m, 0x14, 0xFF, 0xFF, 0xFF).Data; fmt.Sprintf("% X", got[:4]) != "03 7F 14 33" {
				t.Errorf("%s answers % X", name, got)
			}
			if after := ask(m, 0x19, 0x01, 0x08); after != count || count.Data[1] != 0x59 {
				t.Errorf("%s: %v before, %v after", name, count, after)
			}
		}
	})
}

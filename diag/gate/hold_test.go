package gate

import (
	"errors"
	"testing"

	"readback/diag/link"
)

// What holds the gate holds everything: looks, permits, and a permit that was given before, which is not used up by it.
func TestHold(t *testing.T) {
	stop := errors.New("the bus is ill")
	var held error
	w := &wire{}
	g := New(w, Options{Hold: func() error { return held }})
	m, _ := clearing()
	look := link.Message{Address: m.Address, Data: []byte{0x19, 0x02, 0xFF}}
	permit, err := g.Permit(propose(t0), t0)
	if err != nil {
		t.Fatal(err)
	}
	held = stop
	if err := g.Send(ctx, look); !errors.Is(err, stop) {
		t.Errorf("a look: %v", err)
	}
	if _, err := g.Permit(propose(t0), t0); !errors.Is(err, stop) {
		t.Errorf("a permit: %v", err)
	}
	if err := g.Pass(ctx, permit, m, t0); !errors.Is(err, stop) {
		t.Errorf("a change: %v", err)
	}
	if got := g.Tally(); len(w.sent) != 0 || got != (Tally{Refused: 3}) {
		t.Errorf("%d left, %+v", len(w.sent), got)
	}
	held = nil
	if err := errors.Join(g.Send(ctx, look), g.Pass(ctx, permit, m, t0)); err != nil {
		t.Error(err)
	}
	if err := g.Pass(ctx, permit, m, t0); !errors.Is(err, ErrPermitUsed) {
		t.Errorf("a second time: %v", err)
	}
	if got := g.Tally(); len(w.sent) != 2 || got != (Tally{Reads: 1, Changes: 1, Refused: 4}) {
		t.Errorf("%d left, %+v", len(w.sent), got)
	}
}

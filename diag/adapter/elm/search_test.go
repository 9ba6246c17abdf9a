package elm

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/link"
	"readback/diag/simcar"
)

// A search asks one address after another, each for 150 ms, and takes what comes in that time for its answer. On a slow
// line neither silence nor an answer may slip into the next address's time. The pairs are those of the scenario.
func TestSearch(t *testing.T) {
	const window = 150 * time.Millisecond
	want := []string{"701/781", "720/740", "726/72E", "730/738", "737/73F", "744/7A4", "760/768", "7E0/7E8", "7E4/7EC", "7E5/7ED"}
	for _, speed := range []int{0, 38400} {
		t.Run(fmt.Sprintf("%d bit/s", speed), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				a, _ := plugInCar(t, simcar.SerialOptions{BitRate: speed})
				r := link.NewRouter(a.Link())
				defer r.Close()
				var found []string
				for id := uint32(0x700); id <= 0x7FF; id++ {
					if id == link.Functional11().Request.Value {
						continue
					}
					answer, _ := link.DefaultAnswer(link.ID11(id))
					for _, from := range ask(t, r, link.Physical(link.ID11(id), answer), window) {
						found = append(found, link.ID11(id).String()+"/"+from)
					}
				}
				if !slices.Equal(found, want) {
					t.Errorf("found %q, want %q", found, want)
				}
			})
		})
	}
}

// ask tells who answers within window.
func ask(t *testing.T, r *link.Router, to link.Address, window time.Duration) (from []string) {
	t.Helper()
	p := r.Listen()
	defer p.Close()
	if err := p.Send(t.Context(), link.Message{Address: to, Data: []byte{0x3E, 0x00}, Wait: window}); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), window)
	defer cancel()
	for {
		m, err := p.Receive(ctx)
		var silence *link.SilenceError
		switch {
		case errors.As(err, &silence):
			if silence.Address != to {
				t.Errorf("asked %s, silence of %s", to, silence.Address)
			}
			return from
		case errors.Is(err, context.DeadlineExceeded):
			return from
		case err != nil:
			t.Fatal(err)
		}
		from = append(from, m.Address.Answer.String())
	}
}

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
					for _, from := range ask(t, r, link.Physical(link.ID11(id), answer), window, window) {
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

// The addresses of a first look, in the order in which it asks them, over a line of 38400 bit/s: both widths in turn, and
// one after the other. The limit is worked out from the addresses and the adapter's waiting time alone; the practice
// device takes the time of every byte both ways.
func TestSearchAtTheLineLimit(t *testing.T) {
	const (
		window = 150 * time.Millisecond
		speed  = 38400
		most   = 1.05
	)
	var turns, sorted, wides []link.Address
	for p := range uint32(0x100) {
		narrow := link.ID11(0x700 | p)
		if narrow.Value != 0x7DF && (narrow.Value < 0x7E8 || narrow.Value > 0x7EF) {
			answer, _ := link.DefaultAnswer(narrow)
			turns = append(turns, link.Physical(narrow, answer))
			sorted = append(sorted, link.Physical(narrow, answer))
		}
		if p != 0xF1 {
			wide := link.ID29(0x18DA00F1 | p<<8)
			answer, _ := link.DefaultAnswer(wide)
			turns = append(turns, link.Physical(wide, answer))
			wides = append(wides, link.Physical(wide, answer))
		}
	}
	for name, order := range map[string][]link.Address{"in turn": turns, "one after the other": append(sorted, wides...)} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				a, _, err := plugIn(t, courier(t, ""), simcar.SerialOptions{BitRate: speed}, Options{Speeds: []int{speed}, SetSpeed: func(int) error { return nil }})
				if err != nil {
					t.Fatal(err)
				}
				r := link.NewRouter(a.Link())
				defer r.Close()
				var done []Exchange
				found := 0
				begun := time.Now()
				for _, to := range order {
					asked := time.Now()
					from := ask(t, r, to, 2*window, window)
					x := Exchange{Address: to, Length: 2, Wait: window}
					if len(from) > 0 {
						found++
						x.Frames, x.Took = len(from), time.Since(asked) // whoever answers is waited out: see ask
					}
					done = append(done, x)
				}
				took, limit := time.Since(begun), LineLimit(speed, done)
				ratio := float64(took) / float64(limit)
				t.Logf("%d addresses, %d answered: %v, limit %v, ratio %.3f", len(order), found, took, limit, ratio)
				if found < 10 || ratio > most || ratio < 1 {
					t.Errorf("%d answered, ratio %.3f", found, ratio)
				}
			})
		})
	}
}

// ask tells who answers within window.
func ask(t *testing.T, r *link.Router, to link.Address, patience, window time.Duration) (from []string) {
	t.Helper()
	p := r.Listen()
	defer p.Close()
	if err := p.Send(t.Context(), link.Message{Address: to, Data: []byte{0x3E, 0x00}, Wait: window}); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), patience)
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

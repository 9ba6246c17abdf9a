package elm

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/simcar"
)

// taps keeps what the Tap was told.
type taps struct {
	mu    sync.Mutex
	lines []string
}

func (t *taps) Frame(d bus.Direction, f can.Frame, _ time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	arrow := ">"
	if d == bus.In {
		arrow = "<"
	}
	t.lines = append(t.lines, fmt.Sprintf("%s %s %X", arrow, link.IDOf(f), f.Data[:f.Length]))
}

func (t *taps) take() []string {
	t.mu.Lock()
	defer t.mu.Unlock()
	out := t.lines
	t.lines = nil
	return out
}

// plugIn serves a practice car's serial adapter and opens it.
func plugIn(t *testing.T, car *simcar.Car, so simcar.SerialOptions, o Options) (*Adapter, *taps, error) {
	t.Helper()
	mine, theirs := net.Pipe()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- car.ServeSerial(ctx, theirs, so) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("serve serial: %v", err)
		}
	})
	tap := &taps{}
	o.Place, o.Tap = "serial:test", tap
	a, err := Open(t.Context(), mine, o)
	if err == nil {
		t.Cleanup(func() { a.Close() })
	}
	return a, tap, err
}

func plugInCar(t *testing.T, so simcar.SerialOptions) (*Adapter, *taps) {
	t.Helper()
	a, tap, err := plugIn(t, courier(t, ""), so, Options{})
	if err != nil {
		t.Fatal(err)
	}
	tap.take()
	return a, tap
}

func courier(t *testing.T, name string) *simcar.Car {
	t.Helper()
	s, err := simcar.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return simcar.New(s)
}

// collect takes what arrives within d.
func collect(t *testing.T, l link.Link, d time.Duration) (messages []link.Message, errs []error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), d)
	defer cancel()
	for {
		m, err := l.Receive(ctx)
		switch {
		case errors.Is(err, context.DeadlineExceeded):
			return messages, errs
		case err != nil:
			errs = append(errs, err)
			if errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrClosed) {
				return messages, errs
			}
		default:
			messages = append(messages, m)
		}
	}
}

func send(t *testing.T, l link.Link, m link.Message) {
	t.Helper()
	if err := l.Send(t.Context(), m); err != nil {
		t.Fatalf("Send %X to %s: %v", m.Data, m.Address, err)
	}
}

func at(request, answer uint32) link.Address {
	return link.Physical(link.ID11(request), link.ID11(answer))
}

func TestPracticeCarOpens(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _ := plugInCar(t, simcar.SerialOptions{})
		got := a.Abilities()
		if !got.Exact || !got.Wide || !got.Supply || got.Parallel != 1 || got.BitRate != 500000 || got.Protocol != "11-bit, 500 kbit/s" || got.Version != "ELM327 v2.2" {
			t.Errorf("%+v", got)
		}
		v, err := a.SupplyVolts(t.Context())
		if err != nil || v != 12.6 {
			t.Errorf("supply %v, %v", v, err)
		}
	})
}

// The request leaves as the bytes that were shown, and "working, wait" is followed by the answer whichever way the
// adapter behaves after a 7F xx 78.
func TestPracticeCarExactAndPending(t *testing.T) {
	for _, impatient := range []bool{false, true} {
		t.Run(fmt.Sprintf("impatient %t", impatient), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				a, tap := plugInCar(t, simcar.SerialOptions{Impatient: impatient})
				m := link.Message{Address: at(0x7E5, 0x7ED), Data: []byte{0x14, 0xFF, 0xFF, 0xFF}, Exact: []byte{4, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}}
				send(t, a.Link(), m)
				got, errs := collect(t, a.Link(), 10*time.Second)
				if len(errs) > 0 || len(got) != 2 || !bytes.Equal(got[0].Data, []byte{0x7F, 0x14, 0x78}) || !bytes.Equal(got[1].Data, []byte{0x54}) {
					t.Fatalf("%v, %v", got, errs)
				}
				want := []string{"> 7E5 0414FFFFFF555555", "< 7ED 037F1478AAAAAAAA", "< 7ED 0154AAAAAAAAAAAA"}
				if s := tap.take(); strings.Join(s, "|") != strings.Join(want, "|") {
					t.Errorf("frames %q", s)
				}
				if got[1].Address != m.Address || len(got[1].Frames) != 1 {
					t.Errorf("%+v", got[1])
				}
			})
		})
	}
}

const vin = "0TNCE23E3P0004217"

// Long answers of modules within the standard's identifiers, beyond them, and with 29 bits; silence in between.
func TestPracticeCarLongAnswers(t *testing.T) {
	for _, c := range []struct {
		name string
		so   simcar.SerialOptions
	}{
		{"all commands", simcar.SerialOptions{}},
		{"no flow control settings", simcar.SerialOptions{Unknown: []string{"FC"}}},
		{"no CRA", simcar.SerialOptions{Unknown: []string{"CRA"}}},
		{"no spaces off, no V", simcar.SerialOptions{Unknown: []string{"S0", "V"}}},
		{"slow line", simcar.SerialOptions{BitRate: 38400}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				a, _ := plugInCar(t, c.so)
				for _, to := range []link.Address{at(0x7E4, 0x7EC), at(0x726, 0x72E), link.Physical(link.ID29(0x18DA58F1), link.ID29(0x18DAF158)), at(0x7E4, 0x7EC)} {
					send(t, a.Link(), link.Message{Address: to, Data: []byte{0x22, 0xF1, 0x90}, Wait: 150 * time.Millisecond})
					got, errs := collect(t, a.Link(), time.Second)
					if len(errs) > 0 || len(got) != 1 || string(got[0].Data) != "\x62\xF1\x90"+vin || got[0].Address != to || len(got[0].Frames) != 3 {
						t.Errorf("%s: %v, %v", to, got, errs)
					}
					quiet := at(0x745, 0x74D)
					send(t, a.Link(), link.Message{Address: quiet, Data: []byte{0x3E, 0x00}, Wait: 150 * time.Millisecond})
					got, errs = collect(t, a.Link(), time.Second)
					var silence *link.SilenceError
					if len(got) != 0 || len(errs) != 1 || !errors.As(errs[0], &silence) || silence.Address != quiet || silence.Text != "NO DATA" {
						t.Errorf("silent address: %v, %v", got, errs)
					}
				}
			})
		})
	}
}

// A line slower than the bus, and an adapter with room for little more than two frames: the module is asked to send no
// faster than the line.
func TestPracticeCarSlowLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const speed = 9600
		o := Options{Speeds: []int{speed}, SetSpeed: func(int) error { return nil }}
		a, _, err := plugIn(t, courier(t, ""), simcar.SerialOptions{BitRate: speed, Buffer: 45}, o)
		if err != nil {
			t.Fatal(err)
		}
		to := at(0x7E4, 0x7EC)
		send(t, a.Link(), link.Message{Address: to, Data: []byte{0x22, 0xF1, 0x90}})
		got, errs := collect(t, a.Link(), 5*time.Second)
		if len(errs) > 0 || len(got) != 1 || string(got[0].Data) != "\x62\xF1\x90"+vin {
			t.Errorf("%v, %v", got, errs)
		}
	})
}

// Silence is told within the time that the sender waits, so that it can't be taken for the next request's.
func TestPracticeCarSilenceInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _ := plugInCar(t, simcar.SerialOptions{BitRate: 38400})
		send(t, a.Link(), link.Message{Address: at(0x745, 0x74D), Data: []byte{0x3E, 0x00}, Wait: 150 * time.Millisecond})
		got, errs := collect(t, a.Link(), 150*time.Millisecond)
		if len(got) != 0 || len(errs) != 1 {
			t.Errorf("%v, %v", got, errs)
		}
	})
}

// Requests to all modules, on both identifier widths.
func TestPracticeCarFunctional(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _ := plugInCar(t, simcar.SerialOptions{})
		for _, c := range []struct {
			to   link.Address
			want int
		}{{link.Functional11(), 9}, {link.Functional29(), 1}} {
			send(t, a.Link(), link.Message{Address: c.to, Data: []byte{0x3E, 0x00}, Wait: 150 * time.Millisecond})
			got, errs := collect(t, a.Link(), 2*time.Second)
			if len(got) != c.want || len(errs) != 0 {
				t.Errorf("%s: %v, %v", c.to, got, errs)
			}
		}
	})
}

// An address whose answer identifier is not known yet: the answer tells it.
func TestPracticeCarUnknownAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _ := plugInCar(t, simcar.SerialOptions{})
		send(t, a.Link(), link.Message{Address: link.Physical(link.ID11(0x726), link.ID{}), Data: []byte{0x3E, 0x00}, Wait: 150 * time.Millisecond})
		got, errs := collect(t, a.Link(), time.Second)
		if len(got) != 1 || len(errs) != 0 || got[0].Address.Answer != link.ID11(0x72E) || !got[0].Address.Request.IsZero() {
			t.Errorf("%v, %v", got, errs)
		}
	})
}

// With the ignition off nobody acknowledges: no bus.
func TestPracticeCarOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		car := courier(t, "")
		car.Switch(false)
		_, _, err := plugIn(t, car, simcar.SerialOptions{}, Options{})
		var open *adapter.OpenError
		var alert *link.AdapterError
		if !errors.As(err, &open) || open.Step != adapter.StepBus || !errors.As(err, &alert) {
			t.Errorf("%v", err)
		}
	})
}

// A battery car whose modules are silent to 01 00 has a bus all the same.
func TestPracticeCarSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _, err := plugIn(t, courier(t, "quiet"), simcar.SerialOptions{}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if p := a.Abilities().Protocol; p != "11-bit, 500 kbit/s" {
			t.Errorf("protocol %q", p)
		}
	})
}

// Copies that refuse much: what is missing is said, and an exact request is refused rather than changed.
func TestPracticeCarPoorAdapter(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, tap := plugInCar(t, simcar.SerialOptions{Unknown: []string{"CAF0", "FC", "CF", "CM", "CRA", "CP", "V", "R0", "R1", "RV", "AL", "M0"}})
		got := a.Abilities()
		if got.Exact || got.Supply || got.Wide || len(got.Limits) < 6 {
			t.Errorf("%+v", got)
		}
		exact := link.Message{Address: at(0x7E4, 0x7EC), Data: []byte{0x3E, 0x00}, Exact: []byte{2, 0x3E, 0, 0, 0, 0, 0, 0}}
		if err := a.Link().Send(t.Context(), exact); !errors.Is(err, link.ErrNotExact) {
			t.Errorf("exact: %v", err)
		}
		long := link.Message{Address: at(0x7E4, 0x7EC), Data: make([]byte, 8)}
		if err := a.Link().Send(t.Context(), long); !errors.Is(err, link.ErrTooLong) {
			t.Errorf("long: %v", err)
		}
		if s := tap.take(); len(s) > 0 {
			t.Errorf("frames %q", s)
		}
		exact.Exact = nil
		send(t, a.Link(), exact)
		answers, errs := collect(t, a.Link(), 2*time.Second)
		if len(errs) > 0 || len(answers) != 1 || !bytes.Equal(answers[0].Data, []byte{0x7E, 0x00}) {
			t.Errorf("%v, %v", answers, errs)
		}
		if s := tap.take(); len(s) != 2 || s[0] != "> 7E4 023E000000000000" {
			t.Errorf("frames %q", s)
		}
	})
}

func TestPracticeCarNoHeaders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, _, err := plugIn(t, courier(t, ""), simcar.SerialOptions{Unknown: []string{"H1"}}, Options{})
		var open *adapter.OpenError
		if !errors.As(err, &open) || open.Step != adapter.StepAdapter || !errors.Is(err, errNoHeaders) {
			t.Errorf("%v", err)
		}
	})
}

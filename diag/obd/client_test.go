package obd_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/dtc"
	"readback/diag/link"
	"readback/diag/obd"
)

func everybody(c *car) *obd.Client { return obd.New(c, link.Functional11(), obd.Options{}) }

func one(c *car) *obd.Client {
	return obd.New(c, link.Physical(link.ID11(0x7E0), engine), obd.Options{})
}

// All modules that answer within the window are collected, each by its identifier; refusals and torn answers too.
func TestAsk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		torn := &link.TornError{Address: link.Address{Answer: link.ID11(0x7EB)}, Cause: errors.New("lost")}
		c := newCar(func(int, []byte) []event {
			return []event{
				{after: 10 * ms, from: engine, data: []byte{0x41, 0x0D, 0x00}},
				{after: 20 * ms, from: gearbox, data: []byte{0x7F, 0x01, 0x12}},
				{after: 30 * ms, from: link.ID11(0x7EB), err: torn},
				{after: 40 * ms, from: wide, data: []byte{0x41, 0x0C, 0x00, 0x00}}, // another parameter
				{after: 60 * ms, from: link.ID11(0x7EA), data: []byte{0x7F, 0x01}},
				{after: 190 * ms, from: wide, data: []byte{0x41, 0x0D, 0x17}},
				{after: 250 * ms, from: link.ID11(0x7EC), data: []byte{0x41, 0x0D, 0x00}}, // too late
			}
		})
		begun := time.Now()
		got, err := everybody(c).Ask(t.Context(), []byte{0x01, 0x0D})
		if err != nil || time.Since(begun) != 200*ms || c.requests() != 1 {
			t.Fatalf("%v after %v and %d requests", err, time.Since(begun), c.requests())
		}
		if want := []link.ID{engine, gearbox, link.ID11(0x7EA), link.ID11(0x7EB), wide}; !slices.Equal(got.IDs(), want) {
			t.Fatalf("answers of %v, want %v", got.IDs(), want)
		}
		var (
			refused *obd.NegativeError
			shape   *obd.ShapeError
			broken  *link.TornError
		)
		if !bytes.Equal(got[wide].Value, []byte{0x41, 0x0D, 0x17}) || got[engine].Err != nil {
			t.Errorf("%v", got)
		}
		if !errors.As(got[gearbox].Err, &refused) || refused.Code != 0x12 || refused.Service != 0x01 {
			t.Errorf("refusal: %v", got[gearbox].Err)
		}
		if !errors.As(got[link.ID11(0x7EB)].Err, &broken) || !errors.As(got[link.ID11(0x7EA)].Err, &shape) {
			t.Errorf("torn: %v, short: %v", got[link.ID11(0x7EB)].Err, got[link.ID11(0x7EA)].Err)
		}
	})
}

// With a slow line the first answer may be late; the others follow within the window.
func TestSlack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(int, []byte) []event {
			return []event{
				{after: 500 * ms, from: engine, data: []byte{0x41, 0x0D, 0x00}},
				{after: 600 * ms, from: gearbox, data: []byte{0x41, 0x0D, 0x00}},
			}
		})
		begun := time.Now()
		got, err := obd.New(c, link.Functional11(), obd.Options{Slack: time.Second}).Ask(t.Context(), []byte{0x01, 0x0D})
		if err != nil || len(got) != 2 || time.Since(begun) != 700*ms || c.sent[0].Wait != 200*ms {
			t.Errorf("%v, %v after %v", got, err, time.Since(begun))
		}
	})
}

// One module: its first final answer ends the wait.
func TestAskOne(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(int, []byte) []event {
			return []event{{after: 10 * ms, from: engine, data: []byte{0x41, 0x0D, 0x00}}}
		})
		begun := time.Now()
		if got, err := one(c).Ask(t.Context(), []byte{0x01, 0x0D}); err != nil || len(got) != 1 || time.Since(begun) != 10*ms {
			t.Errorf("%v, %v after %v", got, err, time.Since(begun))
		}
	})
}

// A module that asks for time gets it; the others do not wait for it longer than for each other.
func TestWorking(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(int, []byte) []event {
			return []event{
				{after: 10 * ms, from: engine, data: []byte{0x43, 0x00}},
				{after: 20 * ms, from: gearbox, data: []byte{0x7F, 0x03, 0x78}},
				{after: 3 * time.Second, from: gearbox, data: []byte{0x43, 0x01, 0x07, 0x00}},
			}
		})
		begun := time.Now()
		got, err := everybody(c).Stored(t.Context())
		if err != nil || len(got) != 2 || fmt.Sprint(got[gearbox].Value) != "[P0700]" || got[engine].Value == nil || time.Since(begun) != 3*time.Second {
			t.Errorf("%v, %v after %v", got, err, time.Since(begun))
		}
		c = newCar(func(int, []byte) []event {
			return []event{{after: 20 * ms, from: engine, data: []byte{0x7F, 0x03, 0x78}}}
		})
		begun = time.Now()
		if _, err := one(c).Stored(t.Context()); !errors.Is(err, obd.ErrNoAnswer) || time.Since(begun) != 5020*ms {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
		c = newCar(func(int, []byte) []event {
			var e []event
			for i := range 20 {
				e = append(e, event{after: time.Duration(i)*2*time.Second + ms, from: engine, data: []byte{0x7F, 0x03, 0x78}})
			}
			return e
		})
		begun = time.Now()
		if _, err := one(c).Stored(t.Context()); !errors.Is(err, obd.ErrNoAnswer) || time.Since(begun) != 30*time.Second {
			t.Errorf("without end: %v after %v", err, time.Since(begun))
		}
	})
}

// A long answer that has begun is waited for, past the window, until it is there or torn; one that belongs to an older
// request counts for nothing, and one without an end for no more than the cap.
func TestBegun(t *testing.T) {
	vin := append([]byte{0x49, 0x02, 0x01}, "1D4GP00R55B123456"...)
	for _, c := range []struct {
		name   string
		events []event
		got    int // modules that answered
		took   time.Duration
	}{
		{"slow", []event{{after: 40 * ms, from: engine, begun: 20}, {after: 45 * ms, from: gearbox, data: vin}, {after: 2400 * ms, from: engine, data: vin}}, 2, 2400 * ms},
		{"torn", []event{{after: 40 * ms, from: engine, begun: 20}, {after: 1040 * ms, err: &link.TornError{Address: link.Address{Answer: engine}, Cause: errors.New("lost")}}}, 1, 1040 * ms},
		{"quick", []event{{after: 40 * ms, from: engine, begun: 20}, {after: 60 * ms, from: engine, data: vin}}, 1, 500 * ms},
		{"of another request", []event{{after: 40 * ms, from: engine, begun: 9}, {after: 900 * ms, from: engine, data: []byte{0x41, 0x0C, 0, 0}}}, 0, 900 * ms},
		{"after an adapter's silence", []event{{after: 40 * ms, from: engine, begun: 20}, {after: 50 * ms, err: &link.SilenceError{}}, {after: 700 * ms, from: engine, data: vin}}, 1, 700 * ms},
		{"without end", []event{{after: 40 * ms, from: engine, begun: 20}}, 0, 30 * time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				begun := time.Now()
				got, err := everybody(newCar(func(int, []byte) []event { return c.events })).VIN(t.Context())
				if len(got) != c.got || (err == nil) != (c.got > 0) || time.Since(begun) != c.took {
					t.Errorf("%v, %v after %v", got, err, time.Since(begun))
				}
			})
		})
	}
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		got, err := one(newCar(func(int, []byte) []event {
			return []event{{after: 40 * ms, from: engine, begun: 20}, {after: 2400 * ms, from: engine, data: vin}}
		})).VIN(t.Context())
		if err != nil || got[engine].Value != "1D4GP00R55B123456" || time.Since(begun) != 2400*ms {
			t.Errorf("%v, %v after %v", got, err, time.Since(begun))
		}
	})
}

func TestSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(int, []byte) []event { return nil })
		if _, err := everybody(c).Stored(t.Context()); !errors.Is(err, obd.ErrNoAnswer) {
			t.Errorf("%v", err)
		}
		if got, err := everybody(c).Supported(t.Context()); err != nil || len(got) != 0 {
			t.Errorf("a silent car offers %v, %v", got, err)
		}
		if _, ok, err := everybody(c).Value(t.Context(), 0x0D); ok || err != nil {
			t.Errorf("a silent car has a speed: %v, %v", ok, err)
		}
		if got, err := everybody(c).Codes(t.Context()); err != nil || len(got) != 0 {
			t.Errorf("a silent car has codes: %v, %v", got, err)
		}
		silent := newCar(func(int, []byte) []event {
			return []event{{after: 5 * ms, err: &link.SilenceError{Address: link.Functional11(), Text: "NO DATA"}}}
		})
		begun := time.Now()
		if _, err := everybody(silent).Stored(t.Context()); !errors.Is(err, obd.ErrNoAnswer) || time.Since(begun) != 5*ms {
			t.Errorf("the adapter's word: %v after %v", err, time.Since(begun))
		}
		ctx, cancel := context.WithTimeout(t.Context(), 20*ms)
		defer cancel()
		if _, err := everybody(c).Stored(ctx); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v", err)
		}
		alert := newCar(func(int, []byte) []event {
			return []event{{err: &link.AdapterError{Op: "receiving", Text: "BUFFER FULL"}}}
		})
		var told *link.AdapterError
		if _, err := everybody(alert).Stored(t.Context()); !errors.As(err, &told) {
			t.Errorf("%v", err)
		}
		if _, err := everybody(c).Ask(t.Context(), nil); err == nil {
			t.Error("an empty request was sent")
		}
	})
}

// Tables are asked for as long as some module points to the next one; each module keeps its own.
func TestOffered(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(_ int, request []byte) []event {
			switch request[1] {
			case 0x00:
				return []event{{from: engine, data: []byte{0x41, 0x00, 0xBE, 0x3E, 0xB8, 0x11}}, {from: gearbox, data: []byte{0x41, 0x00, 0x00, 0x08, 0x00, 0x00}}}
			case 0x20:
				return []event{{from: engine, data: []byte{0x41, 0x20, 0x80, 0x00, 0x00, 0x00}}}
			}
			return nil
		})
		got, err := everybody(c).Offered(t.Context())
		if err != nil || c.requests() != 2 {
			t.Fatalf("%v after %d requests", err, c.requests())
		}
		if !got[engine].Value[0x21] || !got[engine].Value[0x0C] || len(got[gearbox].Value) != 1 || !got[gearbox].Value[0x0D] {
			t.Errorf("%v", got)
		}
		union, err := everybody(c).Supported(t.Context())
		if want := 17 + 1; err != nil || len(union) != want {
			t.Errorf("%d parameters, want %d: %v, %v", len(union), want, slices.Sorted(maps.Keys(union)), err)
		}
	})
}

// The number of the module with the lowest identifier; a refusal and a state in words are no numbers.
func TestValue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(_ int, request []byte) []event {
			switch request[1] {
			case 0x42:
				return []event{{from: gearbox, data: []byte{0x41, 0x42, 0x30, 0x00}}, {after: ms, from: engine, data: []byte{0x41, 0x42, 0x31, 0x9C}}}
			case 0x0D:
				return []event{{from: engine, data: []byte{0x7F, 0x01, 0x12}}, {from: gearbox, data: []byte{0x41, 0x0D, 0x17, 0x00}}}
			case 0x51:
				return []event{{from: engine, data: []byte{0x41, 0x51, 0x08}}}
			}
			return []event{{from: engine, data: []byte{0x41, 0x0C}}}
		})
		if v, ok, err := everybody(c).Value(t.Context(), 0x42); math.Abs(v-12.7) > 1e-9 || !ok || err != nil {
			t.Errorf("supply %v, %v, %v", v, ok, err)
		}
		if v, ok, err := everybody(c).Value(t.Context(), 0x0D); v != 23 || !ok || err != nil {
			t.Errorf("speed %v, %v, %v", v, ok, err)
		}
		for _, p := range []byte{0x51, 0x0C} {
			if v, ok, err := everybody(c).Value(t.Context(), p); ok || err != nil {
				t.Errorf("parameter %02X is %v, %v, %v", p, v, ok, err)
			}
		}
		if _, err := everybody(c).Current(t.Context(), 1, 2, 3, 4, 5, 6, 7); err == nil {
			t.Error("seven parameters in one request")
		}
	})
}

// Three lists of two modules; one refuses one of them, which is not an empty list.
func TestCodes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(_ int, request []byte) []event {
			switch request[0] {
			case 0x03:
				return []event{{from: engine, data: []byte{0x43, 0x01, 0x05, 0x62}}, {from: gearbox, data: []byte{0x43, 0x00}}}
			case 0x07:
				return []event{{from: engine, data: []byte{0x47, 0x00}}, {from: gearbox, data: []byte{0x7F, 0x07, 0x11}}}
			}
			return nil
		})
		got, err := everybody(c).Codes(t.Context())
		if err != nil || len(got) != 2 {
			t.Fatalf("%v, %v", got, err)
		}
		if e := got[engine]; !slices.Equal(e.Stored, []dtc.Code{dtc.From2(0x05, 0x62)}) || e.Pending == nil || len(e.Pending) != 0 || e.Permanent != nil {
			t.Errorf("%+v", e)
		}
		if g := got[gearbox]; g.Stored == nil || g.Pending != nil {
			t.Errorf("%+v", g)
		}
		if b := obd.ClearRequest(); !bytes.Equal(b, []byte{0x04}) {
			t.Errorf("clear request %X", b)
		}
	})
}

func TestFrozen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(_ int, request []byte) []event {
			if request[0] != 0x02 || request[2] != 0x00 {
				t.Errorf("asked for % X", request)
			}
			switch request[1] {
			case 0x02:
				return []event{{from: engine, data: []byte{0x42, 0x02, 0x00, 0x05, 0x62}}, {from: gearbox, data: []byte{0x42, 0x02, 0x00, 0x00, 0x00}}}
			case 0x00:
				return []event{{from: engine, data: []byte{0x42, 0x00, 0x00, 0x40, 0x10, 0x00, 0x01}}, {from: gearbox, data: []byte{0x42, 0x00, 0x00, 0x7F, 0xFF, 0xFF, 0xFE}}}
			case 0x20:
				return []event{{from: engine, data: []byte{0x42, 0x20, 0x00, 0x00, 0x00, 0x00, 0x01}}}
			case 0x40:
				return []event{{from: engine, data: []byte{0x42, 0x40, 0x00, 0x40, 0x00, 0x00, 0x00}}}
			case 0x0C:
				return []event{{from: engine, data: []byte{0x42, 0x0C, 0x00, 0x1A, 0xF8}}}
			case 0x42:
				return []event{{from: engine, data: []byte{0x42, 0x42, 0x00, 0x23, 0x8C}}}
			}
			t.Errorf("asked for % X", request)
			return nil
		})
		got, err := everybody(c).Frozen(t.Context(), 0)
		if err != nil || len(got) != 2 {
			t.Fatalf("%v, %v", got, err)
		}
		f := got[engine].Value
		if f.Code != dtc.From2(0x05, 0x62) || len(f.Values) != 2 || f.Values[0].Readings[0].String() != "1726 1/min" || f.Values[1].Readings[0].String() != "9.10 V" {
			t.Errorf("%+v", f)
		}
		if g := got[gearbox].Value; !g.Code.IsZero() || len(g.Values) != 0 {
			t.Errorf("%+v", g)
		}
	})
}

package diag_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/trace"
)

func openStore(t *testing.T) *garage.Store {
	t.Helper()
	s, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func openVisit(t *testing.T, s *garage.Store, place adapter.Place, drivers ...adapter.Driver) *diag.Visit {
	t.Helper()
	v, err := diag.Open(t.Context(), diag.Options{Place: place, Drivers: drivers, Store: s})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func look(t *testing.T, v *diag.Visit) {
	t.Helper()
	for _, err := range v.Look(t.Context(), "") {
		if err != nil {
			t.Fatalf("Look: %v", err)
		}
	}
}

// clearCharging asks the practice car's charging module to forget all its codes.
const clearCharging = "7E5 04 14 FF FF FF 55 55 55"

// sent counts the frames that left with this data.
func sent(v *diag.Visit, id uint32, data string) (n int) {
	for _, e := range v.Conversation() {
		if e.Level != trace.Frame || e.Direction != bus.Out {
			continue
		}
		if f := e.Frames[0]; f.ID == id && strings.HasPrefix(hexOf(f), data) {
			n++
		}
	}
	return n
}

func hexOf(f can.Frame) string {
	const digits = "0123456789ABCDEF"
	var b strings.Builder
	for _, x := range f.Data[:f.Length] {
		b.WriteByte(digits[x>>4])
		b.WriteByte(digits[x&0xF])
	}
	return b.String()
}

// TestLookPractice reads the whole practice car without knowing anything of it. What it must find is the invented
// scenario "courier".
func TestLookPractice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		look(t, v)
		r, ok := v.Record()
		if !ok || !r.Complete || !r.Practice {
			t.Fatalf("record: %v, complete %v, practice %v", ok, r.Complete, r.Practice)
		}
		if v.Car().VIN != "0TNCE23E3P0004217" {
			t.Errorf("the car is %q", v.Car().VIN)
		}
		got := map[string][]string{}
		for _, m := range v.Modules() {
			key := m.Request.String() + "/" + m.Answer.String() + " " + m.Name
			got[key] = nil
			for _, c := range m.Views {
				got[key] = append(got[key], c.Record.Code.String()+" "+c.Describe.Verdict)
			}
		}
		want := map[string][]string{
			"701/781 Gateway":              nil,
			"7E0/7E8 Drive":                {"P0562-00 remembered-passed", "U0111-00 remembered-passed"},
			"7E4/7EC Battery":              nil,
			"7E5/7ED Charging":             {"P1D5A-13 there-now", "U0140-87 remembered-passed", "U0293-00 remembered-passed"},
			"726/72E Body":                 {"B1A14-15 there-now", "U0155-00 remembered-passed", "U3003-16 remembered-passed"},
			"760/768 Brakes":               {"C0040-1C there-now", "U0100-00 remembered"},
			"730/738 Steering":             nil,
			"737/73F Airbag":               nil,
			"720/740 Instrument panel":     {"U0100-00 remembered-only", "U0140-00 remembered-only"},
			"744/7A4 Climate":              nil,
			"18DA58F1/18DAF158 Telematics": nil,
		}
		for k, codes := range want {
			if g, ok := got[k]; !ok || !slices.Equal(g, codes) {
				t.Errorf("%s: %v, want %v", k, g, codes)
			}
		}
		if len(got) != len(want) {
			t.Errorf("%d modules, want %d: %v", len(got), len(want), got)
		}
	})
}

func prepare(t *testing.T, v *diag.Visit, words string) *diag.Result {
	t.Helper()
	e := v.Explain(clearCharging, "")
	if words == "" {
		words = strings.Join(e.Words[:], " ")
	}
	v.Say(gate.NotCharging)
	v.Say(gate.SafetyRead)
	v.SayBack(words)
	for _, err := range v.Send(t.Context(), e) {
		if err != nil {
			t.Fatalf("Send: %v", err)
		}
	}
	return v.Result()
}

// TestSendClear sends the whole erase once. The answers are those of ISO 14229-1: 7F 14 78, then 54.
func TestSendClear(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		look(t, v)
		r := prepare(t, v, "")
		if !r.Sent || r.Outcome != garage.Accepted {
			t.Fatalf("sent %v, outcome %q, refused %+v, reason %q", r.Sent, r.Outcome, r.Refused, r.Reason)
		}
		var hex []string
		for _, a := range r.Answers {
			hex = append(hex, a.Hex)
		}
		if !slices.Equal(hex, []string{"7F1478", "54"}) {
			t.Errorf("answers %v", hex)
		}
		if n := sent(v, 0x7E5, "0414FFFFFF555555"); n != 1 {
			t.Errorf("the request went out %d times", n)
		}
		codes := func(fates []diag.Fate) (out []string) {
			for _, f := range fates {
				out = append(out, f.Module+" "+f.Code)
			}
			return out
		}
		if got := codes(r.ReadBack.Back); !slices.Equal(got, []string{"Charging P1D5A-13"}) {
			t.Errorf("back: %v", got)
		}
		if got := codes(r.ReadBack.Gone); !slices.Equal(got, []string{"Charging U0140-87", "Charging U0293-00"}) {
			t.Errorf("gone: %v", got)
		}
		if len(r.ReadBack.Unchanged) != 9 || len(r.ReadBack.New) != 0 {
			t.Errorf("unchanged: %v, new: %v", codes(r.ReadBack.Unchanged), codes(r.ReadBack.New))
		}
		j, err := s.Journal(t.Context(), v.Car().ID)
		proof, perr := s.Proof(t.Context(), r.Entry)
		if perr != nil || len(proof) < 6 || proof[0].Step != diag.ProofNow || proof[0].Visit != r.Visit || !proof[1].Open() {
			t.Errorf("the proof that follows: %+v, %v", proof, perr)
		}
		if err != nil || len(j) != 1 || j[0].Outcome != garage.Accepted || j[0].ReadBack == 0 {
			t.Errorf("journal: %+v, %v", j, err)
		}
		if tally := v.Tally(); tally.Changes != 1 {
			t.Errorf("tally %+v", tally)
		}
	})
}

// TestSendRefused: whatever is not in line, nothing that changes the car leaves.
func TestSendRefused(t *testing.T) {
	for _, c := range []struct {
		name, place, text, words string
		latch                    gate.Key
	}{
		{"a wrong word", "practice:", clearCharging, "wrong", gate.SaidBack},
		{"a moving car", "practice:moving", clearCharging, "", gate.Standing},
		{"a low supply", "practice:low-supply", clearCharging, "", gate.SupplyGood},
		{"the drive on", "practice:ready", clearCharging, "", gate.DriveOff},
		{"a write", "practice:", "7E5 04 2E F1 90 41 55 55 55", "", ""},
		{"a reset", "practice:", "7E5 02 11 01 55 55 55 55 55", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				v := openVisit(t, s, adapter.Place(c.place), practice.Driver())
				defer v.Close()
				look(t, v)
				e := v.Explain(c.text, "")
				words := c.words
				if words == "" && e.Words != nil {
					words = strings.Join(e.Words[:], " ")
				}
				v.Say(gate.NotCharging)
				v.Say(gate.SafetyRead)
				v.Say(gate.Standing)
				v.Say(gate.DriveOff)
				v.Say(gate.SupplyGood)
				v.SayBack(words)
				before := len(v.Conversation())
				for _, err := range v.Send(t.Context(), e) {
					if err != nil {
						t.Fatal(err)
					}
				}
				r := v.Result()
				if r.Sent || r.Reason == "" {
					t.Fatalf("sent %v, reason %q", r.Sent, r.Reason)
				}
				if c.latch != "" {
					i := slices.IndexFunc(r.Refused, func(l gate.Latch) bool { return l.Key == c.latch })
					if i < 0 || r.Refused[i].InLine {
						t.Errorf("refused by %+v, want %s among them", r.Refused, c.latch)
					}
				}
				for _, x := range v.Conversation()[before:] {
					if x.Direction == bus.Out && x.Level == trace.Message && x.Data[0] != 0x01 {
						t.Errorf("% X left", x.Data)
					}
				}
				if tally := v.Tally(); tally.Changes != 0 || tally.Refused == 0 {
					t.Errorf("tally %+v", tally)
				}
				if j, _ := s.Journal(t.Context(), v.Car().ID); len(j) != 0 {
					t.Errorf("journal: %+v", j)
				}
			})
		})
	}
}

// cutDriver is the practice car on an adapter that can be pulled out.
type cutDriver struct {
	adapter.Driver
	pull func(f can.Frame) bool // tells after which frame the adapter is pulled
}

type cutConn struct {
	adapter.Frames
	adapter.Supply
	bus *cutBus
}

func (c *cutConn) Bus() bus.Bus { return c.bus }

type cutBus struct {
	bus.Bus
	pull   func(can.Frame) bool
	pulled atomic.Bool
	gone   chan struct{}
}

func (d *cutDriver) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	c, err := d.Driver.Open(ctx, p, o)
	if err != nil {
		return nil, err
	}
	f := c.(adapter.Frames)
	return &cutConn{Frames: f, Supply: c.(adapter.Supply), bus: &cutBus{Bus: f.Bus(), pull: d.pull, gone: make(chan struct{})}}, nil
}

// Send lets the frame go, and then pulls the adapter if this was the one.
func (b *cutBus) Send(ctx context.Context, f can.Frame) error {
	if b.pulled.Load() {
		return bus.ErrGone
	}
	err := b.Bus.Send(ctx, f)
	if b.pull(f) && b.pulled.CompareAndSwap(false, true) {
		close(b.gone)
	}
	return err
}

func (b *cutBus) Receive(ctx context.Context) (bus.Received, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		select {
		case <-b.gone:
			cancel()
		case <-ctx.Done():
		}
	}()
	r, err := b.Bus.Receive(ctx)
	if b.pulled.Load() {
		return bus.Received{}, bus.ErrGone
	}
	return r, err
}

// TestPulledWhileLooking: what was read is kept as an incomplete record.
func TestPulledWhileLooking(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		reads := 0
		d := &cutDriver{Driver: practice.Driver(), pull: func(f can.Frame) bool {
			if f.Data[1] == 0x19 && f.Data[2] == 0x02 {
				reads++
			}
			return reads == 5
		}}
		v := openVisit(t, s, "practice:", d)
		defer v.Close()
		var failed error
		for _, err := range v.Look(t.Context(), "") {
			failed = errors.Join(failed, err)
		}
		if !errors.Is(failed, bus.ErrGone) {
			t.Fatalf("Look: %v, want ErrGone", failed)
		}
		if text := diag.Sentence(failed); !strings.Contains(text, "adapter has gone") {
			t.Errorf("sentence: %s", text)
		}
		r, ok := v.Record()
		if !ok || r.Complete {
			t.Fatalf("record %v, complete %v", ok, r.Complete)
		}
		if kept, err := s.Visit(t.Context(), r.ID); err != nil || kept.Complete {
			t.Errorf("in the store: %v, complete %v", err, kept.Complete)
		}
	})
}

// TestWaitForEver: a module that asks for time (7F 14 78) for longer than anything is waited for leaves the outcome open, and all
// modules are read again all the same.
func TestWaitForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slow := filepath.Join(t.TempDir(), "slow.json")
		if err := os.WriteFile(slow, []byte(`{"version": 1, "base": "courier", "modules": {"charging": {"clearTime": 90000}}}`), 0o600); err != nil {
			t.Fatal(err)
		}
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, adapter.Place("practice:"+slow), practice.Driver())
		defer v.Close()
		look(t, v)
		r := prepare(t, v, "")
		if !r.Sent || r.Outcome != garage.Unknown || r.ReadBack == nil {
			t.Errorf("sent %v, outcome %q, read back %v", r.Sent, r.Outcome, r.ReadBack)
		}
		if n := sent(v, 0x7E5, "0414FFFFFF555555"); n != 1 {
			t.Errorf("it went out %d times", n)
		}
		if open, err := s.Unknown(t.Context()); err != nil || len(open) != 0 {
			t.Errorf("open questions after reading again: %+v, %v", open, err)
		}
	})
}

// TestPulledWhileSending: the journal says that nobody knows, and the next complete reading settles it.
func TestPulledWhileSending(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		d := &cutDriver{Driver: practice.Driver(), pull: func(f can.Frame) bool { return f.Data[1] == 0x14 }}
		v := openVisit(t, s, "practice:", d)
		look(t, v)
		e := v.Explain(clearCharging, "")
		v.Say(gate.NotCharging)
		v.Say(gate.SafetyRead)
		v.SayBack(e.Words[0])
		var failed error
		for _, err := range v.Send(t.Context(), e) {
			failed = errors.Join(failed, err)
		}
		if failed == nil || v.Result().Outcome != garage.Unknown {
			t.Fatalf("Send: %v, outcome %q, refused %+v", failed, v.Result().Outcome, v.Result().Refused)
		}
		v.Close()
		open, err := s.Unknown(t.Context())
		if err != nil || len(open) != 1 || open[0].Outcome != garage.Unknown {
			t.Fatalf("open questions: %+v, %v", open, err)
		}
		v = openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		look(t, v)
		if open, err := s.Unknown(t.Context()); err != nil || len(open) != 0 {
			t.Errorf("after reading again: %+v, %v", open, err)
		}
	})
}

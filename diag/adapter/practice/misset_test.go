package practice

import (
	"context"
	"io"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/simcar"

	"go.einride.tech/can"
)

// An adapter at another bit rate hears nothing but broken frames, and what it sends reaches nobody: ISO 11898-1 counts a
// frame that breaks the bit rules as an error, whoever sent it.
func TestMisset(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := open(t, "practice:wrong-rate")
		if got := c.Abilities().BitRate; got != 250000 {
			t.Errorf("it is set to %d bit/s", got)
		}
		ask := can.Frame{ID: 0x7E5, Length: 8, Data: can.Data{0x02, 0x3E, 0x00}}
		if err := c.Bus().Send(t.Context(), ask); err != nil {
			t.Fatal(err)
		}
		for n := range 500 { // 3 s of the car's ordinary messages
			r, err := c.Bus().Receive(t.Context())
			if err != nil || r.Fault != bus.FaultProtocol || r.Frame != (can.Frame{}) {
				t.Fatalf("event %d: %+v %v", n, r, err)
			}
		}
		if err := c.Bus().Send(t.Context(), can.Frame{ID: 0x800}); err == nil {
			t.Error("a frame that there can't be is sent")
		}
	})
}

// fakeSerial stands for an open serial adapter.
type fakeSerial struct {
	io.ReadWriteCloser
	closed int
}

func (f *fakeSerial) Abilities() adapter.Abilities { return adapter.Abilities{Name: "Adapter"} }
func (f *fakeSerial) Link() link.Link              { return nil }
func (f *fakeSerial) Everyone() link.Address       { return link.Functional11() }
func (f *fakeSerial) Keyword() bool                { return false }
func (f *fakeSerial) Close() error                 { f.closed++; return f.ReadWriteCloser.Close() }
func (f *fakeSerial) SupplyVolts(context.Context) (float64, error) {
	return 12.4, nil
}
func (f *fakeSerial) SupplyReadings() []adapter.SupplyReading { return nil }
func (f *fakeSerial) SetSupplyOffset(float64)                 {}

// A car whose scenario has a serial adapter is behind one: it answers in the adapter's words, and is practice all the same.
func TestBehindSerial(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &fakeSerial{}
		d := WithSerial(func(_ context.Context, port io.ReadWriteCloser, p adapter.Place, _ adapter.Options) (Serial, error) {
			s.ReadWriteCloser = port
			return s, nil
		})
		c, err := d.Open(t.Context(), "practice:clone-adapter", adapter.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if a := c.Abilities(); !a.Practice || a.Name != "Adapter" {
			t.Errorf("abilities %+v", a)
		}
		if _, err := s.Write([]byte("ATI\r")); err != nil {
			t.Fatal(err)
		}
		spec, err := simcar.Load("clone-adapter")
		if err != nil {
			t.Fatal(err)
		}
		if err := s.ReadWriteCloser.(net.Conn).SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
			t.Fatal(err)
		}
		var said []byte
		for b := make([]byte, 1); len(said) == 0 || said[len(said)-1] != '>'; said = append(said, b[0]) {
			if _, err := s.Read(b); err != nil {
				t.Fatalf("%q: %v", said, err)
			}
		}
		if want := spec.Adapter.Version + "\r\r>"; string(said) != "ATI\r"+want && string(said) != want {
			t.Errorf("it says %q", said)
		}
		if err := c.Close(); err != nil || s.closed != 1 {
			t.Errorf("close: %v, %d times", err, s.closed)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		d := WithSerial(func(_ context.Context, port io.ReadWriteCloser, p adapter.Place, _ adapter.Options) (Serial, error) {
			return nil, &adapter.OpenError{Place: p, Step: adapter.StepAdapter, Cause: port.Close()}
		})
		for _, place := range []adapter.Place{"practice:clone-adapter", "practice:drover"} { // the second has no CAN
			if _, err := d.Open(t.Context(), place, adapter.Options{}); err == nil {
				t.Errorf("%s: an adapter that could not be opened is open", place)
			}
		}
		if c, err := d.Open(t.Context(), "practice:", adapter.Options{}); err != nil || c.Close() != nil {
			t.Errorf("a car without a serial adapter: %v", err)
		}
	})
}

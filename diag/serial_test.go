//go:build linux || darwin

package diag_test

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/adapter/practice"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
	"readback/diag/simcar"
)

// device runs a practice car as a serial device on rw until the test ends.
func device(t *testing.T, rw io.ReadWriteCloser) *simcar.Car {
	t.Helper()
	s, err := simcar.Load("")
	if err != nil {
		t.Fatal(err)
	}
	car := simcar.New(s)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = car.ServeSerial(ctx, rw, simcar.SerialOptions{}) // it ends with the port or with the test
	}()
	t.Cleanup(func() {
		cancel()
		rw.Close()
		<-done
	})
	return car
}

// known puts the practice car into the store, as an earlier visit over raw CAN would have.
func known(t *testing.T, s *garage.Store) {
	t.Helper()
	v := openVisit(t, s, "practice:", practice.Driver())
	defer v.Close()
	look(t, v)
}

// wholeVisit reads, sends the erase and reads back, and checks what a serial adapter must show of it.
func wholeVisit(t *testing.T, s *garage.Store, place adapter.Place) {
	t.Helper()
	v := openVisit(t, s, place, elm.Driver())
	defer v.Close()
	look(t, v)
	r, _ := v.Record()
	if len(r.Modules) != 11 || !r.Complete || !r.Practice {
		t.Fatalf("%d modules, complete %v, practice %v", len(r.Modules), r.Complete, r.Practice)
	}
	var codes, now, snapshots int
	for _, m := range v.Modules() {
		for _, c := range m.Views {
			codes++
			snapshots += len(c.Record.Snapshots)
			if c.Describe.ThereNow {
				now++
			}
		}
	}
	if codes != 12 || now != 3 || snapshots == 0 {
		t.Errorf("%d codes, %d there now, %d snapshots; want 12, 3, some", codes, now, snapshots)
	}
	sentOnce(t, v)
}

func sentOnce(t *testing.T, v *diag.Visit) {
	t.Helper()
	r := prepare(t, v, "")
	if !r.Sent || r.Outcome != garage.Accepted || len(r.Answers) != 2 || r.Answers[0].Hex != "7F1478" || r.Answers[1].Hex != "54" {
		t.Fatalf("sent %v, outcome %q, answers %+v, refused %+v, reason %q", r.Sent, r.Outcome, r.Answers, r.Refused, r.Reason)
	}
	if n := sent(v, 0x7E5, "0414FFFFFF555555"); n != 1 {
		t.Errorf("the request went out %d times", n)
	}
	if len(r.ReadBack.Back) != 1 || r.ReadBack.Back[0].Code != "P1D5A-13" || len(r.ReadBack.Gone) != 2 {
		t.Errorf("back %v, gone %v", r.ReadBack.Back, r.ReadBack.Gone)
	}
}

// TestWholeVisitSerial goes through a pseudo terminal, in real time.
func TestWholeVisitSerial(t *testing.T) {
	t.Parallel()
	s := openStore(t)
	defer s.Close()
	known(t, s)
	master, path, err := simcar.OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	device(t, master)
	wholeVisit(t, s, adapter.Place("serial:"+path))
}

// TestWholeVisitTCP goes through a network adapter on this computer, in real time.
func TestWholeVisitTCP(t *testing.T) {
	t.Parallel()
	s := openStore(t)
	defer s.Close()
	known(t, s)
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	sc, err := simcar.Load("")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- simcar.ServeTCP(ctx, ln, simcar.New(sc), simcar.SerialOptions{}) }()
	defer func() {
		cancel()
		<-done
	}()
	wholeVisit(t, s, adapter.Place("tcp:"+ln.Addr().String()))
}

// TestPortPulled closes the pseudo terminal while a change waits for its answer.
func TestPortPulled(t *testing.T) {
	t.Parallel()
	s := openStore(t)
	defer s.Close()
	known(t, s)
	master, path, err := simcar.OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	device(t, master)
	v := openVisit(t, s, adapter.Place("serial:"+path), elm.Driver())
	defer v.Close()
	look(t, v)
	e := v.Explain(clearCharging, "")
	v.Say(gate.NotCharging)
	v.Say(gate.SafetyRead)
	v.SayBack(strings.Join(e.Words[:], " "))
	var failed error
	for step, err := range v.Send(t.Context(), e) {
		failed = errors.Join(failed, err)
		if step.Stage == diag.SendAnswer {
			master.Close() // after "understood, wait", before the answer
		}
	}
	if !errors.Is(failed, link.ErrGone) {
		t.Fatalf("Send: %v, want ErrGone", failed)
	}
	if r := v.Result(); !r.Sent || r.Outcome != garage.Unknown {
		t.Fatalf("sent %v, outcome %q", r.Sent, r.Outcome)
	}
	open, err := s.Unknown(t.Context())
	if err != nil || len(open) != 1 || len(open[0].Answers) != 1 {
		t.Errorf("open questions: %+v, %v", open, err)
	}
}

// pipeDriver opens the serial adapter on a pipe with a practice car at its other end.
type pipeDriver struct {
	adapter.Driver
	t *testing.T
}

func (d pipeDriver) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	mine, theirs := net.Pipe()
	device(d.t, theirs)
	return elm.Open(ctx, mine, elm.Options{Place: p, Name: "Pipe", Tap: o.Tap})
}

// TestFirstLookSerial finds all modules through a serial adapter without knowing any: every address is asked, in fake
// time, and every pair must be right whatever its distance.
func TestFirstLookSerial(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "serial:pipe", pipeDriver{elm.Driver(), t})
		defer v.Close()
		look(t, v)
		want := map[string]string{"701": "781", "7E0": "7E8", "7E4": "7EC", "7E5": "7ED", "726": "72E", "760": "768", "730": "738",
			"737": "73F", "720": "740", "744": "7A4", "18DA58F1": "18DAF158"}
		r, _ := v.Record()
		for _, m := range r.Modules {
			if want[m.Request.String()] != m.Answer.String() {
				t.Errorf("%s is answered by %s", m.Request, m.Answer)
			}
			delete(want, m.Request.String())
		}
		if len(want) > 0 {
			t.Errorf("not found: %v", want)
		}
	})
}

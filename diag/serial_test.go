//go:build linux || darwin

package diag_test

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
	"readback/diag/simcar"
)

// small is the file of a practice car with two modules: for tests in real time.
func small(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "small.json")
	const doc = `{"version": 1, "base": "courier", "modules": {"gateway": null, "battery": null, "body": null, "brakes": null,
		"steering": null, "airbag": null, "panel": null, "climate": null, "telematics": null}}`
	if err := os.WriteFile(path, []byte(doc), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// device runs a practice car as a serial device on rw until it is pulled or the test ends.
func device(t *testing.T, rw io.ReadWriteCloser, s *simcar.Scenario) (pull func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = simcar.New(s).ServeSerial(ctx, rw, simcar.SerialOptions{BitRate: lineSpeed}) // it ends with the port or with the test
	}()
	pull = func() {
		cancel()
		rw.Close()
		<-done
	}
	t.Cleanup(pull)
	return pull
}

// storeThatKnows is a store with that car in it, made in fake time.
func storeThatKnows(t *testing.T, file string) *garage.Store {
	t.Helper()
	path := filepath.Join(t.TempDir(), "readback.db")
	synctest.Test(t, func(t *testing.T) {
		s, err := garage.Open(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		known(t, s, file)
	})
	s, err := garage.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// lookSerial reads a car through a serial adapter and checks what it must show.
func lookSerial(t *testing.T, v *diag.Visit, modules, codes, now int) {
	t.Helper()
	look(t, v)
	r, _ := v.Record()
	if len(r.Modules) != modules || !r.Complete || !r.Practice {
		t.Fatalf("%d modules, complete %v, practice %v", len(r.Modules), r.Complete, r.Practice)
	}
	var gotCodes, gotNow, snapshots int
	for _, m := range v.Modules() {
		for _, c := range m.Views {
			gotCodes++
			snapshots += len(c.Record.Snapshots)
			if c.Describe.ThereNow {
				gotNow++
			}
		}
	}
	if gotCodes != codes || gotNow != now || snapshots == 0 {
		t.Errorf("%d codes, %d there now, %d snapshots; want %d, %d, some", gotCodes, gotNow, snapshots, codes, now)
	}
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

// TestWholeVisitSerial reads, sends the erase and reads back through a serial adapter, in fake time.
func TestWholeVisitSerial(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		known(t, s, "")
		v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t})
		defer v.Close()
		lookSerial(t, v, 11, 12, 3)
		atTheLimit(t, v)
		sentOnce(t, v)
	})
}

// TestLookPTY goes through a pseudo terminal, in real time.
func TestLookPTY(t *testing.T) {
	t.Parallel()
	file := small(t)
	s := storeThatKnows(t, file)
	defer s.Close()
	master, path, err := simcar.OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	device(t, master, scenario(t, file))
	v := openVisit(t, s, adapter.Place("serial:"+path), elm.Driver())
	defer v.Close()
	lookSerial(t, v, 2, 5, 1)
}

// TestLookTCP goes through a network adapter on this computer, in real time.
func TestLookTCP(t *testing.T) {
	t.Parallel()
	file := small(t)
	s := storeThatKnows(t, file)
	defer s.Close()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- simcar.ServeTCP(ctx, ln, simcar.New(scenario(t, file)), simcar.SerialOptions{}) }()
	defer func() {
		cancel()
		<-done
	}()
	v := openVisit(t, s, adapter.Place("tcp:"+ln.Addr().String()), elm.Driver())
	defer v.Close()
	lookSerial(t, v, 2, 5, 1)
}

// TestPortPulled pulls the adapter while a change waits for its answer, in fake time.
func TestPortPulled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		known(t, s, "")
		var pull func()
		v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, pull: &pull})
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
				pull() // after "understood, wait", before the answer
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
	})
}

// pipeDriver opens the serial adapter on a pipe with a practice car at its other end.
type pipeDriver struct {
	adapter.Driver
	t    *testing.T
	pull *func() // set to what pulls the adapter; may be nil
	car  string  // scenario, "" for the usual one
}

func (d pipeDriver) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	mine, theirs := net.Pipe()
	pull := device(d.t, theirs, scenario(d.t, d.car))
	if d.pull != nil {
		*d.pull = pull
	}
	return elm.Open(ctx, mine, elm.Options{Place: p, Name: "Pipe", Tap: o.Tap})
}

// TestFirstLookSerial finds all modules through a serial adapter without knowing any: every address is asked, in fake
// time, and every pair must be right whatever its distance.
func TestFirstLookSerial(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t})
		defer v.Close()
		look(t, v)
		atTheLimit(t, v)
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

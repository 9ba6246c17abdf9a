//go:build linux || darwin

package diag_test

import (
	"bytes"
	"context"
	"io"
	"net"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/simcar"
)

// earlyPrompt is the far end of a serial line whose adapter shows its prompt before it shows an identification, while it is still at work.
type earlyPrompt struct {
	io.ReadWriteCloser
	begun *atomic.Bool // once the adapter is open
}

func (e earlyPrompt) Write(b []byte) (int, error) {
	if e.begun.Load() && bytes.Contains(b, []byte("62F1")) {
		if _, err := e.ReadWriteCloser.Write([]byte(">")); err != nil {
			return 0, err
		}
	}
	return e.ReadWriteCloser.Write(b)
}

// early opens a serial adapter of that kind.
type early struct {
	adapter.Driver
	t   *testing.T
	car *simcar.Car
}

func (d early) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	mine, theirs := net.Pipe()
	run, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	begun := &atomic.Bool{}
	defer begun.Store(true)
	go func() {
		defer close(done)
		_ = d.car.ServeSerial(run, earlyPrompt{theirs, begun}, simcar.SerialOptions{Unknown: []string{"CAF0"}}) // it ends with the pipe
	}()
	d.t.Cleanup(func() {
		stop()
		<-done
	})
	return elm.Open(ctx, mine, elm.Options{Place: p, Name: "Pipe", Tap: o.Tap})
}

// TestEarlyPrompt: an adapter that is asked while it is still at work drops what stops it. That must not be a digit, or the
// car is asked something else: 2F 19 of 22 F1 90 would take control of an output.
func TestEarlyPrompt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		known(t, s, "")
		car := simcar.New(scenario(t, ""))
		book := simcar.NewMischief(0, 0, 0) // it plays no pranks, and notes what the modules are asked
		car.Suffer(book)
		v := openVisit(t, s, "serial:pipe", early{elm.Driver(), t, car})
		defer v.Close()
		for _, err := range v.Look(t.Context(), "") {
			if err != nil {
				t.Logf("the look ends: %v", err)
			}
		}
		asked := book.Asked()
		if len(asked) < 20 {
			t.Errorf("only %d requests have reached a module", len(asked))
		}
		for _, a := range asked {
			if !slices.Contains(harmless, a.Request[0]) {
				t.Errorf("%s was asked % X", a.Module, a.Request)
			}
		}
	})
}

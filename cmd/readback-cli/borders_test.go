package main

import (
	"bytes"
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"readback/diag/garage"
)

// waiting ends a program once it has said where it waits, and keeps what it said.
type waiting struct {
	bytes.Buffer
	stop context.CancelFunc
}

func (w *waiting) Write(b []byte) (int, error) {
	defer w.stop()
	return w.Buffer.Write(b)
}

// TestPracticeWaitsHere: the practice car can be reached from this computer alone, whatever address is asked for.
func TestPracticeWaitsHere(t *testing.T) {
	for _, how := range []string{"tcp:0", "slcan:tcp:0"} {
		ctx, stop := context.WithCancel(t.Context())
		out, errs := &waiting{stop: stop}, &bytes.Buffer{}
		code := run(ctx, []string{"--json", "practice", "--serve", how}, strings.NewReader(""), out, errs)
		if code != exitDone {
			t.Fatalf("%s: exit %d\n%s", how, code, errs)
		}
		place, _ := document(t, out.String())["place"].(string)
		host, _, err := net.SplitHostPort(place[strings.LastIndex(place, "tcp:")+len("tcp:"):])
		if ip := net.ParseIP(host); err != nil || ip == nil || !ip.IsLoopback() {
			t.Errorf("%s waits at %q", how, place)
		}
	}
	for _, how := range []string{"tcp:0.0.0.0:0", "tcp:[::]:0", "slcan:tcp:0.0.0.0:0"} {
		if code, _, errs := call(t, "", "practice", "--serve", how); code == exitDone || errs == "" {
			t.Errorf("%s: exit %d, %q", how, code, errs)
		}
	}
}

// TestLongCards: a file that is too long for cards is refused without being read to its end.
func TestLongCards(t *testing.T) {
	file := filepath.Join(t.TempDir(), "cards.txt")
	if err := os.WriteFile(file, bytes.Repeat([]byte("# \n"), garage.MaxCards), 0o600); err != nil {
		t.Fatal(err)
	}
	e := &env{ctx: t.Context()}
	err := e.takeCards(nil, garage.Car{}, file)
	if err == nil || !strings.Contains(err.Error(), "more than") {
		t.Errorf("a long file: %v", err)
	}
}

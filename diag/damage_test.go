//go:build linux || darwin

package diag_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/garage"
	"readback/diag/link"
)

// spoilDriver opens the serial adapter at a practice car through a line that damages what the car's modules say.
type spoilDriver struct {
	adapter.Driver
	t     *testing.T
	car   string // scenario
	spoil func(line []byte) []byte
}

func (d spoilDriver) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	mine, theirs := net.Pipe()
	device(d.t, theirs, scenario(d.t, d.car))
	return elm.Open(ctx, &spoiled{ReadWriteCloser: mine, spoil: d.spoil}, elm.Options{Place: p, Name: "Pipe", Tap: o.Tap})
}

// spoiled hands each line of the device to spoil, and what it returns to the reader.
type spoiled struct {
	io.ReadWriteCloser
	spoil func(line []byte) []byte
	line  []byte // not yet whole
	out   []byte // not yet read
}

func (s *spoiled) Read(p []byte) (int, error) {
	for len(s.out) == 0 {
		var buf [64]byte
		n, err := s.ReadWriteCloser.Read(buf[:])
		if err != nil {
			return 0, err
		}
		for _, b := range buf[:n] {
			s.line = append(s.line, b)
			if b == '\r' || b == '>' {
				s.out = append(s.out, s.spoil(s.line)...)
				s.line = nil
			}
		}
	}
	n := copy(p, s.out)
	s.out = s.out[n:]
	return n, nil
}

// times damages the first n lines that begin with head.
func times(n int, head string, damage func([]byte) []byte) func([]byte) []byte {
	return func(line []byte) []byte {
		if n == 0 || !bytes.HasPrefix(line, []byte(head)) {
			return line
		}
		n--
		return damage(line)
	}
}

// The ways in which a line of the charging module (7ED) gets damaged: what a serial line without flow control, a radio
// link, or a worn plug does to it (common practice, no source).
var damages = map[string]func([]byte) []byte{
	"one byte lost":  func(l []byte) []byte { return append(bytes.Clone(l[:4]), l[5:]...) },
	"two bytes lost": func(l []byte) []byte { return append(bytes.Clone(l[:4]), l[6:]...) },
	"its end lost":   func(l []byte) []byte { return append(bytes.Clone(l[:5]), '\r') },
	"split in two":   func(l []byte) []byte { return append(append(bytes.Clone(l[:5]), '\r'), l[5:]...) },
	"marked as bad":  func(l []byte) []byte { return append(bytes.TrimRight(bytes.Clone(l), "\r"), " <RX ERROR\r"...) },
}

// A damaged answer is asked for again: the look ends as it would have without the damage, whether the module is found by
// the search or was known before.
func TestDamagedOnce(t *testing.T) {
	for _, isKnown := range []bool{true, false} {
		for name, damage := range damages {
			t.Run(map[bool]string{true: "known, ", false: "searched for, "}[isKnown]+name, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					s := openStore(t)
					defer s.Close()
					if isKnown {
						known(t, s, "")
					}
					v := openVisit(t, s, "serial:pipe", spoilDriver{Driver: elm.Driver(), t: t, spoil: times(2, "7ED", damage)})
					defer v.Close()
					lookSerial(t, v, 11, 12, 3)
				})
			})
		}
	}
}

// A module whose every answer arrives damaged is told as that: not as silent, and the others are read to their end. The
// next look asks for it again.
func TestDamagedAlways(t *testing.T) {
	for name, damage := range damages {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				known(t, s, "")
				v := openVisit(t, s, "serial:pipe", spoilDriver{Driver: elm.Driver(), t: t, spoil: times(-1, "7ED", damage)})
				defer v.Close()
				look(t, v)
				r, _ := v.Record()
				if r.Complete || len(r.Modules) != 11 {
					t.Errorf("%d modules, complete %v", len(r.Modules), r.Complete)
				}
				for _, m := range r.Modules {
					want := garage.Yes
					if m.Request == link.ID11(0x7E5) {
						want = garage.Damaged
					}
					if m.Answered != want || (m.CodesRead == garage.Yes) != (want == garage.Yes) {
						t.Errorf("%s answered: %s, codes: %s", m.Request, m.Answered, m.CodesRead)
					}
				}
			})
		})
	}
}

// The practice adapters that lose bytes: nothing ends the look, and nobody counts as silent who is there.
func TestLookThroughLossyAdapters(t *testing.T) {
	for _, car := range []string{"adapter-loses-bytes", "adapter-hasty", "adapter-split-lines", "adapter-damages"} {
		t.Run(car, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				known(t, s, "")
				v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: car})
				defer v.Close()
				look(t, v)
				r, _ := v.Record()
				whole := 0
				for _, m := range r.Modules {
					switch {
					case m.Answered == garage.Silent, m.Answered == garage.NotAsked:
						t.Errorf("%s: %s", m.Request, m.Answered)
					case m.Answered == garage.Yes && m.CodesRead == garage.Yes:
						whole++
					}
				}
				if len(r.Modules) != 11 || whole < 8 {
					t.Errorf("%d modules, %d of them whole", len(r.Modules), whole)
				}
				t.Logf("%d of %d whole, complete %v", whole, len(r.Modules), r.Complete)
			})
		})
	}
}

// An adapter that breaks off at every request ends the look soon, with its own words and not with "nobody answered".
func TestAdapterBreaksOffAlways(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		known(t, s, "")
		asked := false
		v := openVisit(t, s, "serial:pipe", spoilDriver{Driver: elm.Driver(), t: t, spoil: func(line []byte) []byte {
			if asked && bytes.HasPrefix(line, []byte("7")) {
				return []byte("CAN ERROR\r")
			}
			return line
		}})
		defer v.Close()
		asked = true
		var failed error
		for _, err := range v.Look(t.Context(), "Practice car") {
			failed = errors.Join(failed, err)
		}
		var alert *link.AdapterError
		if !errors.As(failed, &alert) || errors.Is(failed, diag.ErrNobodyAnswered) {
			t.Errorf("%v", failed)
		}
		if n := v.Tally().Reads; n > 40 {
			t.Errorf("%d requests", n)
		}
	})
}

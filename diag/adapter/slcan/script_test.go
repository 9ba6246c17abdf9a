package slcan

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/adapter"
	"readback/diag/bus"
)

// played is a port on which data comes and then nothing more; it takes whatever is written.
type played struct {
	mu   sync.Mutex
	data []byte
	end  chan struct{}
}

func (p *played) Read(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.data) == 0 {
		return 0, io.EOF
	}
	n := copy(b, p.data)
	p.data = p.data[n:]
	return n, nil
}

func (p *played) Write(b []byte) (int, error) { return len(b), nil }
func (p *played) Close() error                { return nil }

// scripted is an adapter that answers each line by a table, as a firmware would; lines that are not in it get nothing.
type scripted struct {
	answers map[string]string // without the carriage return of the line
	in      io.Reader
	mine    *io.PipeWriter
	mu      sync.Mutex
	got     []string
	held    string
	closed  func() error
}

func newScripted(answers map[string]string) *scripted {
	r, w := io.Pipe()
	return &scripted{answers: answers, in: r, mine: w, closed: r.Close}
}

func (s *scripted) Read(b []byte) (int, error) { return s.in.Read(b) }

func (s *scripted) Write(b []byte) (int, error) {
	s.mu.Lock()
	s.held += string(b)
	var replies []string
	for {
		line, rest, ok := strings.Cut(s.held, "\r")
		if !ok {
			break
		}
		s.held = rest
		s.got = append(s.got, line)
		replies = append(replies, s.answers[line])
	}
	s.mu.Unlock()
	for _, r := range replies {
		s.say(r)
	}
	return len(b), nil
}

// say puts text on the line.
func (s *scripted) say(text string) {
	if text != "" {
		_, _ = io.WriteString(s.mine, text) // a closed port hears nothing
	}
}

func (s *scripted) Close() error { return s.closed() }

func (s *scripted) lines() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]string{}, s.got...)
}

// full answers everything, as the public descriptions of the command set say.
func full() map[string]string {
	return map[string]string{"V": "V1013\r", "N": "NA123\r", "C": "\r", "S6": "\r", "O": "\r", "L": "\r", "F": "F00\r", "t7E03023E00": "z\r"}
}

// The whole conversation of opening, sending and closing, line by line. V comes first, and never a lone carriage return.
func TestConversation(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newScripted(full())
		c, err := Open(t.Context(), s, Options{BitRate: 500_000})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Bus().Send(t.Context(), can.Frame{ID: 0x7E0, Length: 3, Data: can.Data{2, 0x3E}}); err != nil {
			t.Error(err)
		}
		if err := c.Close(); err != nil {
			t.Error(err)
		}
		_ = c.Close()
		want := "V N C S6 L C S6 O t7E03023E00 C"
		if got := strings.Join(s.lines(), " "); got != want {
			t.Errorf("%s, want %s", got, want)
		}
	})
}

var tester = can.Frame{ID: 0x7E0, Length: 3, Data: can.Data{2, 0x3E}}

// with is full with some answers changed.
func with(changes map[string]string) map[string]string {
	out := full()
	for k, v := range changes {
		out[k] = v
	}
	return out
}

// What stood on the line before, stray bytes, ends of lines of other systems, answers without a version: all open.
func TestOpensFirmwares(t *testing.T) {
	for name, c := range map[string]struct {
		answers map[string]string
		limits  int
		version string
	}{
		"all":                      {full(), 1, "V1013 NA123"},
		"no serial number":         {with(map[string]string{"N": "\a"}), 1, "V1013"},
		"silent about its number":  {with(map[string]string{"N": ""}), 1, "V1013"},
		"line feeds":               {with(map[string]string{"V": "V1013\r\n", "O": "\r\n"}), 1, "V1013 NA123"},
		"a closed channel refuses": {with(map[string]string{"C": "\a"}), 1, "V1013 NA123"},
		"no version":               {with(map[string]string{"V": "\a"}), 1, "NA123"},
		"confirms V alone":         {with(map[string]string{"V": "\r"}), 1, "NA123"},
		"no flags":                 {with(map[string]string{"F": "\a"}), 1, "V1013 NA123"},
		"left open by somebody":    {with(map[string]string{"V": "00t7E8803\rt7E82CAFE\rV1013\r"}), 1, "V1013 NA123"},
		"confirms nothing":         {map[string]string{"V": "V1013\r"}, 3, "V1013"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, err := Open(t.Context(), newScripted(c.answers), Options{BitRate: 500_000})
				if err != nil {
					t.Fatal(err)
				}
				defer conn.Close()
				if a := conn.Abilities(); a.Version != c.version || len(a.Limits) != c.limits {
					t.Errorf("%+v", a)
				}
			})
		})
	}
}

func TestOpenRefused(t *testing.T) {
	for name, c := range map[string]struct {
		answers map[string]string
		o       Options
		want    error
		step    adapter.Step
		lines   string
	}{
		"nothing there":          {nil, Options{BitRate: 500_000}, ErrNoAnswer, adapter.StepAdapter, "V V C"},
		"an ELM-style adapter":   {map[string]string{"V": "V\r?\r\r>"}, Options{BitRate: 500_000}, adapter.ErrOtherKind, adapter.StepAdapter, "V"},
		"one that is monitoring": {map[string]string{"V": "7E8 03\rSTOPPED\r\r>"}, Options{BitRate: 500_000}, adapter.ErrOtherKind, adapter.StepAdapter, "V"},
		"not this rate":          {with(map[string]string{"S6": "\a"}), Options{BitRate: 500_000}, adapter.ErrRate, adapter.StepAdapter, "V N C S6 C"},
		"no such rate":           {full(), Options{BitRate: 1}, adapter.ErrRate, adapter.StepAdapter, "V N C"},
		"it does not open":       {with(map[string]string{"O": "\a"}), Options{BitRate: 500_000}, ErrRefused, adapter.StepAdapter, "V N C S6 L C S6 O C"},
		"L is not confirmed":     {with(map[string]string{"L": ""}), Options{BitRate: 500_000, ListenOnly: true}, adapter.ErrNotSilent, adapter.StepAdapter, "V N C S6 L C S6 L C"},
		"it can't only listen":   {with(map[string]string{"L": "\a"}), Options{BitRate: 500_000, ListenOnly: true}, adapter.ErrNotSilent, adapter.StepAdapter, "V N C S6 L C S6 L C"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := newScripted(c.answers)
				_, err := Open(t.Context(), s, c.o)
				var open *adapter.OpenError
				if !errors.Is(err, c.want) || !errors.As(err, &open) || open.Step != c.step {
					t.Errorf("%v", err)
				}
				if got := strings.Join(s.lines(), " "); got != c.lines {
					t.Errorf("written: %s, want %s", got, c.lines)
				}
			})
		})
	}
}

// joined is an open scripted adapter.
func joined(t *testing.T, answers map[string]string) (*scripted, *Bus) {
	t.Helper()
	s := newScripted(answers)
	c, err := Open(t.Context(), s, Options{BitRate: 500_000})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return s, c.Bus().(*Bus)
}

// events receives until nothing more is there.
func events(t *testing.T, b *Bus) (out []string) {
	t.Helper()
	for {
		ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
		r, err := b.Receive(ctx)
		cancel()
		if err != nil {
			return out
		}
		if r.Fault != 0 {
			out = append(out, fmt.Sprintf("fault %b", r.Fault))
		} else {
			out = append(out, r.Frame.String())
		}
	}
}

// Half lines, bells and stray bytes cost what they damage and nothing beyond it.
func TestDamagedLines(t *testing.T) {
	lost := fmt.Sprintf("fault %b", bus.FaultOverrun)
	for said, want := range map[string][]string{
		"t7E82CAFE\r":                          {"7E8#CAFE"},
		"FEt7E82CAFE\r":                        {lost, "7E8#CAFE"},
		"t7E8803t7E82CAFE\r":                   {lost, "7E8#CAFE"},
		"t7E82CAFEt7E8101\r":                   {"7E8#CAFE", "7E8#01"}, // the end of a line is missing
		"t7E82CAFEt7E8\rt7E8102\r":             {"7E8#CAFE", lost, "7E8#02"},
		"t7E82CA\r":                            {lost},
		"t7E82CA\xFFE\rt7E8101\r":              {lost, "7E8#01"},
		"t7E82\at7E8101\r":                     {lost, lost, "7E8#01"}, // a bell that nobody waits for says that something did not leave
		"\x00t7E82\nCAFE\r":                    {"7E8#CAFE"},
		"\r\r\rz\rZ\r":                         {},
		"A0\r":                                 {lost},
		"X1\rhello\r":                          {}, // lines of a firmware's own
		strings.Repeat("t", 300) + "\rt1230\r": {lost, "123#"},
		"sw100000\rsw101000\rsp130000\r":       {fmt.Sprintf("fault %b", bus.FaultWarning), fmt.Sprintf("fault %b", bus.FaultPassive)},
		"sb000256\rsa000000\r":                 {fmt.Sprintf("fault %b", bus.FaultBusOff), fmt.Sprintf("fault %b", bus.FaultRestarted)},
		"e1a\r":                                {fmt.Sprintf("fault %b", bus.FaultNoAck)},
	} {
		synctest.Test(t, func(t *testing.T) {
			s, b := joined(t, full())
			s.say(said)
			got := events(t, b)
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Errorf("%q: %q, want %q", said, got, want)
			}
		})
	}
}

// A frame is written once, whatever the adapter makes of it.
func TestSendOnce(t *testing.T) {
	for name, c := range map[string]struct {
		answer string
		want   error
	}{"taken": {"z\r", nil}, "taken with an empty line": {"\r", nil}, "refused": {"\a", ErrRefused}, "no answer": {"", nil}} {
		synctest.Test(t, func(t *testing.T) {
			s, b := joined(t, with(map[string]string{"t7E03023E00": c.answer}))
			begun := time.Now()
			if err := b.Send(t.Context(), tester); !errors.Is(err, c.want) {
				t.Errorf("%s: %v", name, err)
			}
			if d := time.Since(begun); (c.answer == "") != (d == answerTime) {
				t.Errorf("%s: took %v", name, d)
			}
			time.AfterFunc(10*time.Second, func() { b.Close() })
			for err := error(nil); !errors.Is(err, bus.ErrClosed); {
				_, err = b.Receive(t.Context())
			}
			n := strings.Count(strings.Join(s.lines(), " "), "t7E0")
			if n != 1 {
				t.Errorf("%s: written %d times", name, n)
			}
		})
	}
}

// Once an adapter has left a frame without an answer, the next ones don't wait for one.
func TestSilentIsNotWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, b := joined(t, with(map[string]string{"t7E03023E00": ""}))
		begun := time.Now()
		for range 10 {
			if err := b.Send(t.Context(), tester); err != nil {
				t.Fatal(err)
			}
		}
		if d := time.Since(begun); d != answerTime {
			t.Errorf("ten frames took %v", d)
		}
	})
}

// The flags are read while the channel is open, and each change of state is told once.
func TestWatchesFlags(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		answers := full()
		s, b := joined(t, answers)
		next := func(flags string) (bus.Received, bus.State) {
			s.mu.Lock()
			answers["F"] = flags
			s.mu.Unlock()
			ctx, cancel := context.WithTimeout(t.Context(), 2*watchEvery)
			defer cancel()
			r, _ := b.Receive(ctx)
			state, err := b.State(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			return r, state
		}
		for _, c := range []struct {
			flags string
			fault bus.Fault
			state bus.State
		}{
			{"F00\r", 0, bus.StateActive}, {"F04\r", bus.FaultWarning, bus.StateWarning}, {"F04\r", 0, bus.StateWarning},
			{"F24\r", bus.FaultPassive, bus.StatePassive}, {"F00\r", 0, bus.StateActive}, {"F01\r", bus.FaultOverrun, bus.StateActive},
		} {
			r, state := next(c.flags)
			if r.Fault != c.fault || state != c.state {
				t.Errorf("%q: %+v, %v", c.flags, r, state)
			}
			_ = events(t, b) // the flags of an overrun are told as often as they are read
		}
	})
}

// A controller that has left the bus, or only listens, is not given a frame that would vanish.
func TestOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, b := joined(t, full())
		s.say("sb000256\r")
		events(t, b)
		if err := b.Send(t.Context(), tester); !errors.Is(err, bus.ErrOff) {
			t.Errorf("%v", err)
		}
		if state, err := b.State(t.Context()); err != nil || state != bus.StateOff {
			t.Errorf("%v, %v", state, err)
		}
		if got := strings.Join(s.lines(), " "); strings.Contains(got, "t7E0") {
			t.Errorf("written: %s", got)
		}
	})
}

// Events that nobody fetches are dropped at the end, not in the middle, and that is told.
func TestOverrun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, b := joined(t, full())
		for range depth + 10 {
			s.say("t1230\r")
		}
		synctest.Wait()
		if _, ok := b.take(); !ok {
			t.Fatal("nothing came")
		}
		s.say("t1240\r")
		synctest.Wait()
		for range depth - 1 {
			if r, _ := b.take(); r.Fault != 0 || r.Frame.ID != 0x123 {
				t.Fatalf("%+v", r)
			}
		}
		first, _ := b.take()
		second, _ := b.take()
		if first.Fault != bus.FaultOverrun || second.Frame.ID != 0x124 {
			t.Errorf("%+v, %+v", first, second)
		}
	})
}

package elm

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/adapter"
	"readback/diag/link"
	"readback/diag/simcar"
)

// faultyLine is a serial line in memory with a practice adapter at its other end; both ends have a speed.
type faultyLine struct {
	net.Conn
	speed atomic.Int64
	pull  func()

	mu      sync.Mutex
	written strings.Builder
}

func (l *faultyLine) Write(b []byte) (int, error) {
	l.mu.Lock()
	l.written.Write(b)
	l.mu.Unlock()
	return l.Conn.Write(b)
}

// times is how often a text was written.
func (l *faultyLine) times(text string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(l.written.String(), text)
}

func (l *faultyLine) SetSpeed(bitsPerSecond int) error {
	l.speed.Store(int64(bitsPerSecond))
	return nil
}

// plugFaulty serves the adapter of a scenario.
func plugFaulty(t *testing.T, car *simcar.Car, so simcar.SerialOptions) *faultyLine {
	t.Helper()
	mine, theirs := net.Pipe()
	l := &faultyLine{Conn: mine}
	so.Host = func() int { return int(l.speed.Load()) }
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := car.ServeSerial(ctx, theirs, so); err != nil {
			t.Errorf("serve serial: %v", err)
		}
	}()
	l.pull = func() { stop(); <-done }
	t.Cleanup(l.pull)
	return l
}

// openFaulty opens such an adapter as the driver does a serial port.
func openFaulty(t *testing.T, l *faultyLine) (*Adapter, []string, error) {
	t.Helper()
	var rungs []string
	a, err := Open(t.Context(), l, Options{Place: "serial:test", Speeds: speeds, SetSpeed: l.SetSpeed, Faster: faster, Rung: func(r adapter.Rung) {
		if r.State != adapter.RungTrying {
			rungs = append(rungs, fmt.Sprintf("%s %s", r.Step, r.State))
		}
	}})
	if err == nil {
		t.Cleanup(func() { a.Close() })
	}
	return a, rungs, err
}

// asked is one read, and what came of it: the number of bytes, or the trouble in short.
func asked(t *testing.T, l link.Link, to link.Address, request ...byte) string {
	t.Helper()
	if err := l.Send(t.Context(), link.Message{Address: to, Data: request}); err != nil {
		return "not sent: " + short(err)
	}
	var out []string
	messages, errs := collect(t, l, 15*time.Second)
	for _, m := range messages {
		out = append(out, fmt.Sprintf("%s %d", m.Address.Answer, len(m.Data)))
	}
	for _, err := range errs {
		out = append(out, short(err))
	}
	return strings.Join(out, ", ")
}

func short(err error) string {
	var (
		alert   *link.AdapterError
		silence *link.SilenceError
		torn    *link.TornError
	)
	switch {
	case errors.Is(err, link.ErrGone):
		return "gone"
	case errors.As(err, &torn):
		return fmt.Sprintf("torn at %d of %d", torn.Got, torn.Want)
	case errors.As(err, &silence):
		return "silent"
	case errors.As(err, &alert):
		return alert.Text
	}
	return err.Error()
}

// opens is what the link test tells when an adapter opens.
const opens = "port held, adapter held, supply held, bus held, module held"

var (
	drive      = at(0x7E4, 0x7EC)
	beyond     = at(0x726, 0x72E) // not a pair of ISO 15765-4
	wide       = link.Physical(link.ID29(0x18DA58F1), link.ID29(0x18DAF158))
	whole      = "7EC 20|7EC 20|7EC 20|72E 20|18DAF158 20"
	firstTorn  = func(s string) string { return s + "|7EC 20|7EC 20|72E 20|18DAF158 20" }
	shortTorn  = "torn at 6 of 20"
	allOfThem  = []string{shortTorn, shortTorn, shortTorn, shortTorn, shortTorn}
	numberOfIt = []byte{0x22, 0xF1, 0x90}
)

// Each practice adapter that is unlike the data sheet: what the link test tells, what comes of five long answers (three
// of one module, one beyond the identifiers of ISO 15765-4, one with 29 bits), and how it is graded in the end. The faults
// are those that symptom tables tell of copies; what an adapter does with them is common practice, no source.
func TestFaultyAdapters(t *testing.T) {
	for name, want := range map[string]struct {
		rungs    string // opens when empty
		answers  string
		word     adapter.GradeWord
		readOnly string // part of it
		cannot   string // part of the sentences
		cause    error  // of failing to open
	}{
		"refuses-all": {answers: "7EC 20|7EC 20|7EC 20|silent|not sent: no 29-bit identifiers", word: adapter.GradeReads,
			readOnly: "exactly as shown", cannot: "flow control"},
		"echo":          {answers: whole, word: adapter.GradeAll},
		"no-spaces":     {answers: whole, word: adapter.GradeAll},
		"wide-spaces":   {answers: whole, word: adapter.GradeAll},
		"line-feeds":    {answers: whole, word: adapter.GradeAll},
		"stray":         {answers: whole, word: adapter.GradeAll},
		"split-lines":   {answers: whole, word: adapter.GradeAll},
		"slow":          {answers: whole, word: adapter.GradeAll},
		"fast":          {answers: whole, word: adapter.GradeAll},
		"false-fast":    {answers: whole, word: adapter.GradeAll},
		"interleaves":   {answers: whole, word: adapter.GradeAll},
		"damages":       {answers: whole, word: adapter.GradeAll},
		"false-version": {answers: whole, word: adapter.GradeMost, cannot: "does not let us set flow control"},
		"narrow": {answers: "7EC 20|7EC 20|7EC 20|72E 20|not sent: no 29-bit identifiers", word: adapter.GradeMost,
			cannot: "can't address modules with 29-bit identifiers"},
		"hangs": {answers: whole, word: adapter.GradeMost, cannot: "hangs on AT FCSM2"},
		"loses-bytes": {answers: "7EC 20|7EC101462F1903054E|torn at 13 of 20|72E 20|torn at 6 of 20, 18DAF582143453233453350",
			word: adapter.GradeReads, readOnly: "lost bytes", cannot: "loses bytes"},
		"hasty": {answers: "7EC 20|7EC101462F1903054E|7EC 20|72E 20|18DAF158 20", word: adapter.GradeMost,
			cannot: "loses bytes at 500000 bit/s; its line runs at 38400 bit/s now"},
		"not-exact":    {answers: firstTorn("?"), word: adapter.GradeReads, readOnly: "exactly as shown", cannot: "length byte"},
		"no-flow":      {answers: strings.Join(allOfThem, "|"), word: adapter.GradeShort, readOnly: "first part", cannot: "no flow control was sent"},
		"overflows":    {answers: firstTorn("torn at 13 of 20, BUFFER FULL"), word: adapter.GradeReads, readOnly: "out of room", cannot: "run out of room"},
		"small-buffer": {answers: whole, word: adapter.GradeMost, cannot: "flow control"}, // and see TestFaultySmallBuffer
		"restarts":     {answers: firstTorn("torn at 13 of 20, LV RESET"), word: adapter.GradeAll},
		"sleeps":       {answers: firstTorn("torn at 13 of 20, !ACT ALERT"), word: adapter.GradeAll},
		"blocked":      {answers: firstTorn("torn at 13 of 20, ERR94"), word: adapter.GradeAll},
		"stops":        {answers: firstTorn("torn at 13 of 20, STOPPED"), word: adapter.GradeAll},
		"no-headers":   {rungs: "port held, adapter failed", cause: errNoHeaders},
		"no-prompt":    {rungs: "port held, adapter failed", cause: errNeverReady},
		"dies":         {rungs: opens + ", adapter failed", cause: errNoPrompt},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				a, rungs, err := openFaulty(t, plugFaulty(t, courier(t, "adapter-"+name), simcar.SerialOptions{}))
				if want.rungs == "" {
					want.rungs = opens
				}
				if got := strings.Join(rungs, ", "); got != want.rungs {
					t.Errorf("rungs %s", got)
				}
				if !errors.Is(err, want.cause) {
					t.Fatal(err)
				}
				if want.cause != nil {
					return
				}
				var answers []string
				for _, to := range []link.Address{drive, drive, drive, beyond, wide} {
					answers = append(answers, asked(t, a.Link(), to, numberOfIt...))
				}
				if got := strings.Join(answers, "|"); got != want.answers {
					t.Errorf("answers %s", got)
				}
				g := a.Abilities()
				if g.Grade.Word != want.word || !strings.Contains(g.ReadOnly, want.readOnly) || g.ReadOnly != "" && want.readOnly == "" {
					t.Errorf("%s; read only: %q", g.Grade.Word, g.ReadOnly)
				}
				if cannot := strings.Join(g.Grade.Cannot, " "); !strings.Contains(cannot, want.cannot) || cannot != "" && want.cannot == "" {
					t.Errorf("cannot: %s", cannot)
				}
			})
		})
	}
}

// A setting on which the adapter hangs again each time that it is set up anew is told once.
func TestHangsAreToldOnce(t *testing.T) {
	var q quality
	for _, line := range []string{"ATAL", "ATS0", "ATAL", "ATAL"} {
		q.note(func(q *quality) { q.hangs(line) })
	}
	g := q.graded(adapter.Abilities{}, skills{}, protocols['6']).Grade
	if n := strings.Count(strings.Join(g.Cannot, " "), "It hangs on AT AL,"); n != 1 || !strings.Contains(strings.Join(g.Cannot, " "), "It hangs on AT S0,") {
		t.Errorf("%q", g.Cannot)
	}
}

// Every practice adapter is in the table above.
func TestFaultyAdaptersAll(t *testing.T) {
	n := 0
	for _, name := range simcar.Names() {
		if strings.HasPrefix(name, "adapter-") {
			n++
		}
	}
	if n != 28 {
		t.Errorf("there are %d scenarios of adapters; the table has 28", n)
	}
}

// Answers of three modules at the same time are told apart.
func TestFaultyInterleaved(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _, err := openFaulty(t, plugFaulty(t, courier(t, "adapter-interleaves"), simcar.SerialOptions{}))
		if err != nil {
			t.Fatal(err)
		}
		got := asked(t, a.Link(), link.Functional11(), numberOfIt...)
		if want := "7E8 20, 7EC 20, 7ED 20, "; !strings.HasPrefix(got, want) {
			t.Errorf("got %s", got)
		}
	})
}

// 512 bytes of room, a line of 9600 bit/s, and an answer of 357 bytes, whose lines have more than 1000 characters.
func TestFaultySmallBuffer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _, err := openFaulty(t, plugFaulty(t, courier(t, "adapter-small-buffer"), simcar.SerialOptions{}))
		if err != nil {
			t.Fatal(err)
		}
		if got := asked(t, a.Link(), at(0x7E5, 0x7ED), 0x22, 0xF1, 0xD0); got != "torn at 174 of 357, BUFFER FULL" {
			t.Errorf("got %s", got)
		}
		if g := a.Abilities(); g.Grade.Word != adapter.GradeShort || !strings.Contains(strings.Join(g.Limits, " "), "no room for long answers") || g.ReadOnly == "" || g.LineSpeed != 9600 {
			t.Errorf("%+v", g)
		}
	})
}

// The line is found at whatever speed it has, and raised where the adapter keeps up.
func TestFaultySpeeds(t *testing.T) {
	for _, c := range []struct {
		scenario string
		speed    int // of the adapter
		want     int
	}{
		{"adapter-fast", 38400, 500000}, {"adapter-fast", 9600, 500000}, {"adapter-fast", 57600, 500000},
		{"adapter-fast", 115200, 500000}, {"adapter-fast", 500000, 500000}, {"adapter-fast", 230400, 500000},
		{"adapter-false-fast", 38400, 38400}, {"adapter-false-fast", 115200, 115200},
		{"adapter-false-version", 115200, 115200},
	} {
		t.Run(fmt.Sprintf("%s at %d", c.scenario, c.speed), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := plugFaulty(t, courier(t, c.scenario), simcar.SerialOptions{BitRate: c.speed})
				a, _, err := openFaulty(t, l)
				if err != nil {
					t.Fatal(err)
				}
				if got := asked(t, a.Link(), drive, numberOfIt...); got != "7EC 20" {
					t.Errorf("got %s", got)
				}
				if got := a.Abilities().LineSpeed; got != c.want || int(l.speed.Load()) != c.want {
					t.Errorf("%d bit/s, the port has %d", got, l.speed.Load())
				}
			})
		})
	}
}

// An adapter that is reset while its line is faster than it begins with is found again at its first speed, and the next
// request finds it set up. What was asked is not asked again.
func TestFaultyRestartAtSpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		car := courier(t, "adapter-restarts")
		a, _, err := openFaulty(t, plugFaulty(t, car, simcar.SerialOptions{BitRate: 38400}))
		if err != nil {
			t.Fatal(err)
		}
		if got := a.Abilities().LineSpeed; got != 500000 {
			t.Fatalf("%d bit/s", got)
		}
		if got := asked(t, a.Link(), drive, numberOfIt...); got != "torn at 6 of 20, no prompt" {
			t.Errorf("got %s", got)
		}
		if got := asked(t, a.Link(), wide, numberOfIt...); got != "18DAF158 20" {
			t.Errorf("got %s", got)
		}
		if got := a.Abilities(); got.LineSpeed != 38400 || got.ReadOnly != "" {
			t.Errorf("%d bit/s, %s", got.LineSpeed, got.ReadOnly)
		}
	})
}

package app

import (
	"cmp"
	"context"
	"errors"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	_ "readback/app/locale"
	"readback/app/look"
	"readback/diag/adapter"
	"readback/diag/explain"
)

// bench is a window on Fyne's test driver with a scripted car behind it. The test's goroutine is the window's thread.
type bench struct {
	t     testing.TB
	w     *Window
	win   fyne.Window
	visit *fakeVisit
	log   *fakeLog
	queue chan func()
}

type setup struct {
	app     fyne.App // one app for many windows: its fonts are read once
	shade   look.Shade
	factor  float32
	size    fyne.Size
	visit   *fakeVisit
	log     *fakeLog
	noLog   bool // the logbook could not be opened
	openErr error
	rungs   []adapter.Rung // told while it opens
	hold    bool           // it stays opening until it is stopped
	place   adapter.Place
	// language of the window, "" is English.
	language string
	system   string // what the computer runs, "" is linux
}

func newBench(t testing.TB, s setup) *bench {
	t.Helper()
	if err := UseLanguage(cmp.Or(s.language, "en")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { // the tests that need no window are in English
		if err := UseLanguage("en"); err != nil {
			t.Error(err)
		}
	})
	if s.visit == nil {
		s.visit = vanVisit()
	}
	if s.log == nil {
		s.log = &fakeLog{}
	}
	if s.size.IsZero() {
		s.size = fyne.NewSize(1280, 820)
	}
	a := s.app
	if a == nil {
		a = test.NewTempApp(t)
	}
	b := &bench{t: t, visit: s.visit, log: s.log, queue: make(chan func(), 4096)}
	b.win = test.NewTempWindow(t, nil)
	b.win.SetPadded(false)
	b.win.Resize(s.size)
	var log Logbook = s.log
	if s.noLog {
		log = nil
	}
	b.w = New(a, b.win, Engine{
		Find: func(context.Context) ([]adapter.Found, error) { return fakeFound(), nil },
		Open: func(ctx context.Context, p adapter.Place, tell func(adapter.Rung)) (Visit, error) {
			for _, r := range s.rungs {
				tell(r)
			}
			if s.hold {
				<-ctx.Done()
				return nil, ctx.Err()
			}
			if s.openErr != nil {
				return nil, s.openErr
			}
			return s.visit, nil
		},
		Explain: func(text string, w explain.Wish) explain.Explanation { return s.visit.Explain(text, w) },
		Compare: s.visit.Compare, Log: log,
	}, Options{System: cmp.Or(s.system, "linux"), Taste: Taste{Shade: s.shade, Factor: s.factor}, Place: s.place,
		Do: func(f func()) { b.queue <- f }, Now: func() time.Time { return begin.Add(3 * time.Second) }})
	b.win.Resize(s.size)
	t.Cleanup(func() {
		if err := b.w.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

// until runs what arrives at the window's thread until something holds.
func (b *bench) until(what string, holds func() bool) {
	b.t.Helper()
	for !holds() {
		select {
		case f := <-b.queue:
			f()
		case <-time.After(20 * time.Second): // a test that waits for what never comes says so
			b.t.Fatalf("never happened: %s", what)
		}
	}
}

// next runs what comes next at the window's thread; false when nothing has come for so long.
func (b *bench) next(quiet time.Duration) bool {
	select {
	case f := <-b.queue:
		f()
		return true
	case <-time.After(quiet):
		return false
	}
}

func (b *bench) connect() {
	b.t.Helper()
	b.w.connect("practice:")
	b.until("connected", func() bool { return b.w.link.visit != nil })
}

func (b *bench) read() {
	b.t.Helper()
	b.connect()
	b.w.Show(PageCodes)
	b.w.startLooking()
	b.until("read", func() bool { return b.w.code.looking == nil })
}

func (b *bench) write(text string) {
	b.w.Show(PageRequest)
	b.w.req.field.SetText(text)
}

// writeReal types a text that is explained by the real explainer.
func (b *bench) writeReal(text string) {
	e := explain.Explain(text, explain.Options{})
	b.visit.explains[strings.TrimSpace(text)] = e
	b.write(text)
}

// post is a text from somewhere with two requests inside.
const post = "Hi, my flap was stuck as well. I plugged in and sent 7E5: 0x04 0x14 0xFF 0xFF 0xFF 0x55 0x55 0x55 and it opened.\nRead it afterwards with 7E5 03 19 02 FF 55 55 55 55, good luck!"

const clearText = "7E5 04 14 FF FF FF 55 55 55"

func (b *bench) atGate() {
	b.t.Helper()
	b.read()
	b.write(clearText)
	b.w.Show(PageGate)
	b.until("measured", func() bool { return !b.w.pass.measuring })
}

// picture writes what the window shows into the folder that READBACK_PICTURES names.
func (b *bench) picture(name string) {
	b.t.Helper()
	dir := os.Getenv("READBACK_PICTURES")
	if dir == "" {
		return
	}
	f, err := os.Create(filepath.Join(dir, name+".png"))
	if err != nil {
		b.t.Fatal(err)
	}
	if err := errors.Join(png.Encode(f, b.win.Canvas().Capture()), f.Close()); err != nil {
		b.t.Fatal(err)
	}
}

package main

import (
	"context"
	"errors"
	"fmt"
	"log"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"fyne.io/fyne/v2"
	fyneapp "fyne.io/fyne/v2/app"
	"fyne.io/fyne/v2/driver"

	"readback/app"
	"readback/app/look"
	"readback/assets"
	"readback/diag/adapter"
	"readback/diag/garage"
	"readback/diag/lesson"
)

// house is what the window lives in: the frame on the screen, the choices that are kept, and the logbook. The window may
// end and another one begin in the same frame.
type house struct {
	app   fyne.App
	win   fyne.Window
	flags flags
	opt   app.Options

	store   *garage.Store
	trouble error // why there is no logbook, or what happened to the one before
	shown   *app.Window

	gone    bool        // the window is closed; of the main thread
	between atomic.Bool // one window has ended and the next has not begun
	work    sync.WaitGroup
}

// appID names the program to the desktop, as FyneApp.toml does.
const appID = "readback.app"

// showWindow shows the window on a screen until it is closed. begun is called when there is a first picture, or when the owner
// has been told why there is none.
func showWindow(f flags, s screen, begun func()) int {
	h := &house{flags: f, opt: options(f)}
	opened := make(chan struct{})
	go func() {
		defer close(opened)
		h.openStore(context.Background(), h.opt.Taste.Folders.Logbook)
	}()
	h.app = fyneapp.New()                                              // without a name Fyne keeps no preferences of its own
	fyneapp.SetMetadata(fyne.AppMetadata{ID: appID, Name: "Readback"}) // a notification needs one
	h.app.SetIcon(fyne.NewStaticResource("icon.png", assets.Icon()))
	h.speak()
	h.win = h.app.NewWindow(app.T("window.title"))
	h.resize(s.clamp(f.wanted()))
	h.win.CenterOnScreen()
	<-opened
	h.begin()
	h.win.SetCloseIntercept(func() {
		if !h.between.Load() && h.shown.MayClose() {
			h.win.Close()
		}
	})
	h.win.SetOnClosed(func() {
		h.gone = true
		h.keepSize()
	})
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var said string
	patiently(func() { said = logged(h.win.Show) }, begun)
	if !h.pictured() {
		tell(s.fail(noOpenGL, causeIn(said)).words())
		h.close()
		return exitNoDisplay
	}
	if said != "" {
		log.Print(said)
	}
	h.work.Go(begun)
	closed := make(chan struct{})
	h.work.Go(func() {
		select {
		case <-ctx.Done(): // a signal
			fyne.Do(h.win.Close)
		case <-closed: // by its owner: nothing is left that could be closed
		}
	})
	h.work.Go(func() { tidy(ctx) })
	if every, err := time.ParseDuration(os.Getenv(heardVar)); err == nil && every > 0 {
		h.work.Go(func() { h.tellHeard(ctx, every) })
	}
	h.run()
	close(closed)
	stop()
	h.work.Wait()
	h.close()
	return exitDone
}

// pictured reports whether the screen has the window. One that could not be made has no handle of the platform's.
func (h *house) pictured() (is bool) {
	h.win.(driver.NativeWindow).RunNative(func(context any) {
		switch c := context.(type) {
		case driver.X11WindowContext:
			is = c.WindowHandle != 0
		case driver.WaylandWindowContext:
			is = c.WaylandSurface != 0
		case driver.MacWindowContext:
			is = c.NSWindow != 0
		case driver.WindowsWindowContext:
			is = c.HWND != 0
		}
	})
	return is
}

// causeIn is the cause in an error that Fyne has logged.
func causeIn(said string) string {
	if _, cause, ok := strings.Cut(said, "Cause: "); ok {
		said, _, _ = strings.Cut(cause, "\n")
	}
	return said
}

// settled is when a window that has just begun has come to rest.
const settled = 3 * time.Second

// run shows the window until it is closed. Between its closing and its end Fyne still takes events, and breaks down over one
// that changes the shape of the pointer: by then nothing is left to be done for it.
func (h *house) run() {
	defer func() {
		if r := recover(); r != nil && !h.gone {
			panic(r)
		}
	}()
	h.app.Run()
}

// gcPercent is by how much of what is in use the memory may grow before what is not used any more is collected. A window that
// is open for hours leaves memory to others, and collects more often than the usual 100 would.
const gcPercent = 50

// tidy gives back what only the start needed: fonts and tables are read through pieces of memory that are done with soon.
// GOGC, where the owner has set it, is left as it is.
func tidy(ctx context.Context) {
	t := time.NewTimer(settled)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
		if os.Getenv("GOGC") == "" {
			debug.SetGCPercent(gcPercent)
		}
		debug.FreeOSMemory()
	}
}

// heardVar asks for a line now and then about what has been heard in the visit: a length of time such as 1m.
const heardVar = "READBACK_HEARD"

// tellHeard prints how many frames have been heard, and how many were gone before the window could take them in.
func (h *house) tellHeard(ctx context.Context, every time.Duration) {
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			fyne.Do(func() {
				if !h.between.Load() {
					frames, gone := h.shown.Heard()
					fmt.Fprintf(os.Stderr, "readback: heard %d, gone %d\n", frames, gone)
				}
			})
		}
	}
}

// close ends the last window and its logbook.
func (h *house) close() {
	if err := h.end(); err != nil {
		fmt.Fprintln(os.Stderr, "readback: closing:", err)
	}
}

func (h *house) resize(s size) { h.win.Resize(fyne.NewSize(float32(s.w), float32(s.h))) }

// speak chooses the language of the window; READBACK_LANG goes before what was kept.
func (h *house) speak() {
	tag := os.Getenv("READBACK_LANG")
	if tag == "" {
		tag = h.opt.Taste.Language
	}
	if err := app.UseLanguage(tag); err != nil { // the window speaks all the same
		fmt.Fprintln(os.Stderr, "readback:", err)
	}
}

// begin puts a window into the frame. With an empty logbook it begins at the four doors.
func (h *house) begin() {
	o := h.opt
	o.Anew, o.Keep = h.anew, h.keep
	o.Page = ""
	if h.store != nil && o.Place == "" {
		if cars, err := h.store.Cars(context.Background()); err == nil && len(cars) == 0 {
			o.Page = app.PageStart
		}
	}
	h.opt.Place = "" // once
	h.shown = app.New(h.app, h.win, engine(h.store, h.trouble), o)
}

// anew ends the window and its logbook, does a job that needs the logbook closed, and begins another window.
func (h *house) anew(begun func(*app.Window), job func(ctx context.Context, logbook string)) {
	if !h.between.CompareAndSwap(false, true) {
		return
	}
	dir := h.opt.Taste.Folders.Logbook
	h.shown.End()
	h.work.Go(func() {
		ctx := context.Background()
		err := h.end()
		if job != nil {
			job(ctx, h.opt.Logbook)
		}
		h.openStore(ctx, dir)
		h.trouble = errors.Join(h.trouble, err)
		fyne.Do(func() {
			h.speak()
			h.begin()
			h.between.Store(false)
			begun(h.shown)
		})
	})
}

// end ends the window and its logbook.
func (h *house) end() error {
	err := h.shown.Close()
	if h.store != nil {
		err = errors.Join(err, h.store.Close())
	}
	h.store = nil
	return err
}

// openStore opens the logbook in a folder, "" is the usual one. One that was damaged has been put
// aside by then, and a new one is begun; the trouble still says so.
func (h *house) openStore(ctx context.Context, dir string) {
	h.opt.Logbook, h.opt.LogbookFixed, h.trouble = "", os.Getenv(garage.HomeVariable) != "", nil
	path, err := garage.DefaultPath()
	if err != nil {
		h.trouble = err
		return
	}
	if dir != "" && !h.opt.LogbookFixed {
		path = filepath.Join(dir, filepath.Base(path))
	}
	h.opt.Logbook = path
	h.store, h.trouble = garage.Open(ctx, path)
	var damaged *garage.DamagedError
	if errors.As(h.trouble, &damaged) && damaged.KeptAs != "" {
		again, err := garage.Open(ctx, path)
		h.store, h.trouble = again, errors.Join(h.trouble, err)
	}
}

// keep takes the choices over and writes them down.
func (h *house) keep(t app.Taste) {
	h.opt.Taste = t
	path, err := settingsFile(tasteFile)
	if err == nil {
		err = saveSettings(path, t)
	}
	told(err)
}

// keepSize writes down how large the window was when it was closed, beside the choices that were kept.
func (h *house) keepSize() {
	if h.win.FullScreen() {
		return
	}
	path, err := settingsFile(tasteFile)
	if err != nil {
		told(err)
		return
	}
	t, err := loadTaste(path)
	if err != nil {
		told(err)
		return
	}
	s := h.win.Canvas().Size()
	t.Width, t.Height = int(s.Width), int(s.Height)
	told(saveSettings(path, t))
}

func told(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
}

// options join what was kept, what the environment says and what the command line says; the last wins.
func options(f flags) app.Options {
	o := app.Options{Place: adapter.Place(f.place), Taste: app.Taste{Factor: 1}, OpenGL: true}
	path, err := settingsFile(tasteFile)
	if err == nil {
		o.Taste, err = loadTaste(path)
	}
	told(err)
	lessons, err := settingsFile(progressFile)
	if err == nil {
		o.Progress, err = loadProgress(lessons)
		o.KeepProgress = func(p lesson.Progress) { told(saveSettings(lessons, p)) }
	}
	told(err)
	if f.theme != "" {
		o.Taste.Shade = look.Shade(f.theme)
	}
	o.Home, err = os.UserHomeDir()
	told(err)
	return o
}

package main

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"os/signal"
	"syscall"
	"time"

	"fyne.io/fyne/v2"
	fyneapp "fyne.io/fyne/v2/app"

	"readback/app"
	"readback/app/look"
	"readback/assets"
	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/all"
	"readback/diag/explain"
	"readback/diag/garage"
	"readback/diag/lesson"
)

var (
	_ app.Visit   = (*diag.Visit)(nil)
	_ app.Logbook = (*garage.Store)(nil)
)

// showWindow is the whole life of the window's process.
func showWindow(f flags) int {
	if err := app.UseLanguage(os.Getenv("READBACK_LANG")); err != nil { // the window speaks all the same
		fmt.Fprintln(os.Stderr, "readback:", err)
	}
	store, trouble := openStore(context.Background())
	a := fyneapp.New() // without a name Fyne keeps no preferences of its own
	a.SetIcon(fyne.NewStaticResource("icon.png", assets.Icon()))
	win := a.NewWindow(app.T("window.title"))
	o := options(f)
	win.Resize(fyne.NewSize(float32(f.size.w), float32(f.size.h)))
	win.CenterOnScreen()
	w := app.New(a, win, engine(store, trouble), o)
	win.SetCloseIntercept(func() {
		if w.MayClose() {
			win.Close()
		}
	})
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	go func() {
		<-ctx.Done() // by a signal, or by stop once the window is closed
		fyne.Do(win.Close)
	}()
	win.ShowAndRun()
	stop()
	err := w.Close()
	if store != nil {
		err = errors.Join(err, store.Close())
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "readback: closing:", err)
	}
	return exitDone
}

// openStore opens the logbook. One that was damaged has been put aside by then, and a new one is begun; the error
// still says so.
func openStore(ctx context.Context) (*garage.Store, error) {
	path, err := garage.DefaultPath()
	if err != nil {
		return nil, err
	}
	s, err := garage.Open(ctx, path)
	var damaged *garage.DamagedError
	if errors.As(err, &damaged) && damaged.KeptAs != "" {
		again, e := garage.Open(ctx, path)
		if e != nil {
			return nil, errors.Join(err, e)
		}
		return again, err
	}
	return s, err
}

// watchEvery is how often it is looked what is plugged in.
const watchEvery = 1500 * time.Millisecond

// engine is what the window works with. Without a logbook nothing can be opened: a change must be written down first.
func engine(store *garage.Store, trouble error) app.Engine {
	drivers := all.Drivers()
	e := app.Engine{
		Find: func(ctx context.Context) ([]adapter.Found, error) { return diag.Find(ctx, drivers) },
		Watch: func(ctx context.Context) iter.Seq2[diag.Seen, error] {
			return diag.WatchAdapters(ctx, drivers, watchEvery)
		},
		Open: func(ctx context.Context, p adapter.Place, tell func(adapter.Rung)) (app.Visit, error) {
			if store == nil {
				return nil, trouble
			}
			return diag.Open(ctx, diag.Options{Place: p, Drivers: drivers, Store: store, Tell: tell})
		},
		Explain: diag.Explain,
		Compare: func(a, b string) explain.Comparison { return explain.Compare(a, b, explain.Options{}) },
		Trouble: trouble,
	}
	if store != nil {
		e.Log = store
		e.Preview = func(ctx context.Context, visit int64, o diag.ReportOptions) (diag.Preview, error) {
			return diag.PreviewReport(ctx, store, visit, o)
		}
		e.WriteReport = func(ctx context.Context, visit int64, path string, o diag.ReportOptions) (garage.Report, error) {
			r, _, err := diag.WriteReport(ctx, store, visit, path, o)
			return r, err
		}
	}
	return e
}

// options join what was kept, what the environment says and what the command line says; the last wins.
func options(f flags) app.Options {
	o := app.Options{Place: adapter.Place(f.place), Taste: app.Taste{Factor: 1}}
	told := func(err error) {
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}
	path, err := settingsFile(tasteFile)
	if err == nil {
		o.Taste, err = loadTaste(path)
		o.Keep = func(t app.Taste) { told(saveSettings(path, t)) }
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
	return o
}

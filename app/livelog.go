package app

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
)

// liveLog writes readings into a file as they come, from whatever goroutine they come on. Without a file it does nothing.
type liveLog struct {
	mu   sync.Mutex
	file io.WriteCloser
	log  *diag.SampleLog
	n    int
	err  error
}

func (g *liveLog) begin(f io.WriteCloser) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.file, g.log, g.n, g.err = f, diag.NewSampleLog(f, told), 0, nil
}

// write appends a reading. After an error nothing more is written.
func (g *liveLog) write(s diag.Sample) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.file == nil || g.err != nil {
		return
	}
	if g.err = g.log.Write(s); g.err == nil {
		g.n++
	}
}

func (g *liveLog) count() int {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.n
}

func (g *liveLog) failed() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.err != nil
}

// end closes the file, and tells how many readings are in it.
func (g *liveLog) end() (n int, err error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.file == nil {
		return 0, nil
	}
	err = errors.Join(g.err, g.file.Close())
	g.file, g.log, g.err = nil, nil, nil
	return g.n, err
}

// chooseLog lets the owner choose the file that readings are saved in.
func (w *Window) chooseLog() {
	w.chooseTarget(w.opt.Taste.Folders.Reports, T("live.file", "Time", w.now().Local().Format("2006-01-02-1504")), ".csv", func(path string) {
		f, err := os.Create(path)
		if err != nil {
			w.live.saveErr = err
			return
		}
		w.beginLog(filepath.Base(path), f)
	})
}

// beginLog saves readings from now on. Where reading has ended meanwhile, the file stays empty.
func (w *Window) beginLog(name string, f io.WriteCloser) {
	l := &w.live
	w.endLog()
	l.saving, l.saveErr, l.savedSaid = name, nil, ""
	l.log.begin(f)
	if l.run == nil {
		w.endLog()
	}
}

// endLog ends saving, and says what has become of it.
func (w *Window) endLog() {
	l := &w.live
	if l.saving == "" {
		return
	}
	n, err := l.log.end()
	l.savedSaid = N("live.saved", n, "Count", grouped(n), "File", l.saving)
	l.saving, l.saveErr = "", err
}

// liveSaving says that readings are saved, or what became of it; nil when nothing was saved.
func (w *Window) liveSaving() fyne.CanvasObject {
	l := &w.live
	switch {
	case l.saving != "":
		return look.Row(8, look.Natural(look.NewMark(look.MarkCheck, 14)), look.Growing(look.Wrap(0,
			look.Pad(0, 6, 0, 0, look.Small(T("live.saving", "File", l.saving))),
			look.Row(6, look.Natural(look.Small(T("live.saving.count"))), look.Fixed(look.Scaled(90), l.saved)))))
	case l.saveErr != nil:
		return look.Noted(look.Alert, look.Stack(4, look.Body(saveSentence(l.saveErr)), look.Body(l.savedSaid)))
	case l.savedSaid != "":
		return look.State(look.MarkCheck, l.savedSaid)
	}
	return nil
}

// saveSentence says why readings could not be saved.
func saveSentence(err error) string {
	var path *os.PathError
	if errors.As(err, &path) {
		return T("live.save.failed", "File", filepath.Base(path.Path), "Why", path.Err.Error())
	}
	return errorText(fmt.Errorf("app: saving readings: %w", err))
}

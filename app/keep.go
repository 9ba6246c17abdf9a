package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"
	"unicode"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/garage"
)

// task is one thing that is done with the logbook as a whole, or with one car of it.
type task string

const (
	taskNone    task = ""
	taskBackUp  task = "back-up"
	taskRestore task = "restore"
	taskExport  task = "export"
	taskImport  task = "import"
	taskRescue  task = "rescue"
)

// tasks are all of them, in the order of the page.
var tasks = []task{taskBackUp, taskRestore, taskExport, taskImport, taskRescue}

// needsLogbook tells whether a task can't be done without an open logbook.
func (t task) needsLogbook() bool { return t == taskBackUp || t == taskExport || t == taskImport }

// writes tells whether a task writes a file of its own; reads tells whether it is given one.
func (t task) writes() bool { return t == taskBackUp || t == taskExport || t == taskRescue }
func (t task) reads() bool  { return t == taskRestore || t == taskImport || t == taskRescue }

// keepState is what is being done on the page of the records.
type keepState struct {
	task         task
	file         *look.Field // the file that is read
	folder, name *look.Field // where one is written
	cars         []garage.Car
	car          int64
	contents     *garage.Contents // of the file, nil when it is not known
	running      *keeping
	done         []string // what was done, line by line
	err          error
}

// keeping is a task under way.
type keeping struct {
	stop  context.CancelFunc
	file  string
	begun time.Time
	bytes atomic.Int64 // that were read or written so far
}

// Write counts what is written.
func (k *keeping) Write(p []byte) (int, error) {
	k.bytes.Add(int64(len(p)))
	return len(p), nil
}

// counted counts what is read of a file.
type counted struct {
	io.ReaderAt
	by *keeping
}

func (c counted) ReadAt(p []byte, at int64) (int, error) {
	n, err := c.ReaderAt.ReadAt(p, at)
	c.by.bytes.Add(int64(n))
	return n, err
}

func (w *Window) makeKeepFields() {
	k := &w.kept
	k.file = look.NewField("keep-file", T("keep.file.hint"), true, func(string) { w.inspectFile() })
	typed := func(string) {
		if w.page == PageKeep {
			w.draw() // whether all has been said
		}
	}
	k.folder = look.NewField("keep-folder", T("keep.folder.hint"), true, typed)
	k.name = look.NewField("keep-name", T("keep.name.hint"), true, typed)
}

// keepTask turns to the page of the records and begins a task there.
func (w *Window) keepTask(t task) {
	k := &w.kept
	if k.running == nil {
		k.task, k.contents, k.done, k.err = t, nil, nil, nil
		k.file.SetText("")
		if k.folder.Text == "" {
			k.folder.SetText(w.outFolder())
		}
		if t.needsLogbook() && w.engine.Log == nil {
			k.task = taskNone
		}
		w.readKeepCars()
		w.suggestName()
	}
	w.Show(PageKeep)
}

// outFolder is where files are written when nobody says otherwise.
func (w *Window) outFolder() string {
	if dir := w.opt.Taste.Folders.Reports; dir != "" {
		return dir
	}
	return w.lastFolder()
}

// suggestName writes the name of the file that would be written.
func (w *Window) suggestName() {
	k := &w.kept
	day := w.now().Local().Format("2006-01-02")
	switch k.task {
	case taskBackUp:
		k.name.SetText("readback-" + day + bundleFile)
	case taskExport:
		for _, c := range k.cars {
			if c.ID == k.car {
				k.name.SetText(plainName(c.Name) + "-" + day + bundleFile)
			}
		}
	case taskRescue:
		k.name.SetText("rescued-" + day + ".db")
	}
}

// plainName is a name that every system takes for a file.
func plainName(s string) string {
	s = strings.Trim(strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return r
		}
		return '-'
	}, strings.ToLower(s)), "-")
	if s == "" {
		return "car"
	}
	return s
}

func (w *Window) readKeepCars() {
	log, k := w.engine.Log, &w.kept
	if log == nil || k.task != taskExport {
		return
	}
	want := w.car().ID
	w.act(func(ctx context.Context) func() {
		cars, err := log.Cars(ctx)
		return func() {
			k.cars, k.err = cars, err
			if len(cars) > 0 {
				k.car = cars[0].ID
			}
			for _, c := range cars {
				if c.ID == want {
					k.car = want
				}
			}
			w.suggestName()
		}
	})
}

// inspectFile looks what is in the file that was named.
func (w *Window) inspectFile() {
	k := &w.kept
	path := strings.TrimSpace(k.file.Text)
	k.contents, k.err = nil, nil
	if path == "" || k.task != taskRestore && k.task != taskImport {
		w.draw()
		return
	}
	w.act(func(ctx context.Context) func() {
		c, err := inspect(ctx, path)
		return func() {
			if strings.TrimSpace(k.file.Text) != path {
				return
			}
			k.contents, k.err = &c, err
			if err != nil {
				k.contents = nil
			}
		}
	})
	w.draw()
}

func inspect(ctx context.Context, path string) (c garage.Contents, err error) {
	err = diag.ReadAll(path, func(r io.ReaderAt, size int64) (err error) {
		c, err = garage.Inspect(ctx, r, size)
		return err
	})
	return c, err
}

// takeBundle takes a back-up or a car's file that was dropped on the window.
func (w *Window) takeBundle(path string) {
	if w.kept.running != nil {
		w.Show(PageKeep)
		return
	}
	w.act(func(ctx context.Context) func() {
		c, err := inspect(ctx, path)
		return func() {
			t := taskImport
			if err == nil && c.Whole {
				t = taskRestore
			}
			w.keepTask(t)
			w.kept.file.SetText(path)
		}
	})
}

// target is the file that is to be written.
func (w *Window) target() string {
	return filepath.Join(strings.TrimSpace(w.kept.folder.Text), strings.TrimSpace(w.kept.name.Text))
}

// ready tells whether all that the task needs has been said.
func (k *keepState) ready() bool {
	switch {
	case k.task.writes() && (strings.TrimSpace(k.name.Text) == "" || strings.TrimSpace(k.folder.Text) == ""):
		return false
	case k.task == taskExport && k.car == 0, k.task == taskRescue && strings.TrimSpace(k.file.Text) == "":
		return false
	case k.task == taskRestore:
		return k.contents != nil && k.contents.Whole
	case k.task == taskImport:
		return k.contents != nil && !k.contents.Whole
	}
	return true
}

// begin does the task.
func (w *Window) beginTask() {
	k := &w.kept
	if !k.ready() || k.running != nil {
		return
	}
	path, from := w.target(), strings.TrimSpace(k.file.Text)
	switch k.task {
	case taskBackUp:
		w.runTask(path, func(ctx context.Context, k *keeping) (done []string, err error) {
			var got garage.BackedUp
			err = diag.WriteNew(path, func(out io.Writer) (err error) {
				got, err = w.engine.Log.BackUp(ctx, io.MultiWriter(out, k))
				return err
			})
			return append([]string{T("keep.done.file", "File", path), countsOf(got.Cars, got.Visits, got.Recordings)}, missingOf(got.Missing)...), err
		})
	case taskExport:
		car := k.car
		w.runTask(path, func(ctx context.Context, k *keeping) (done []string, err error) {
			var got garage.Exported
			err = diag.WriteNew(path, func(out io.Writer) (err error) {
				got, err = w.engine.Log.ExportCar(ctx, car, io.MultiWriter(out, k))
				return err
			})
			return append([]string{T("keep.done.file", "File", path), countsOf(1, got.Visits, got.Recordings), T("keep.done.trust")}, missingOf(got.Missing)...), err
		})
	case taskImport:
		w.runTask(from, func(ctx context.Context, k *keeping) (done []string, err error) {
			var got garage.Imported
			err = diag.ReadAll(from, func(r io.ReaderAt, size int64) (err error) {
				got, err = w.engine.Log.ImportCar(ctx, counted{r, k}, size)
				return err
			})
			return importedLines(got), err
		})
	case taskRescue:
		w.runTask(from, func(ctx context.Context, _ *keeping) (done []string, err error) {
			got, err := garage.Rescue(ctx, from, path)
			return rescuedLines(got, path), err
		})
	case taskRestore:
		w.restore(from)
	}
}

// runTask does a task beside the window's thread and keeps what it says.
func (w *Window) runTask(file string, do func(ctx context.Context, k *keeping) ([]string, error)) {
	k := &w.kept
	ctx, stop := context.WithCancel(w.ctx)
	running := &keeping{stop: stop, file: file, begun: w.now()}
	k.running, k.err, k.done = running, nil, nil
	w.actIn(ctx, func(ctx context.Context) func() {
		defer stop()
		done, err := do(ctx, running)
		return func() {
			k.running, k.err = nil, err
			if err == nil {
				k.done = done
				w.readRecent()
			}
		}
	})
	w.draw()
}

// restore puts a back-up in the place of the logbook. The logbook has to be closed for it, so the window begins anew.
func (w *Window) restore(from string) {
	if w.opt.Anew == nil || w.link.visit != nil || w.link.opening != nil {
		return
	}
	var done []string
	var failed error
	w.opt.Anew(func(n *Window) {
		n.keepTask(taskRestore)
		n.kept.done, n.kept.err = done, failed
		n.draw()
	}, func(ctx context.Context, store string) {
		var got garage.Restored
		failed = diag.ReadAll(from, func(r io.ReaderAt, size int64) (err error) {
			got, err = garage.Restore(ctx, store, r, size)
			return err
		})
		if failed == nil {
			done = restoredLines(got)
		}
	})
}

// stopTask gives up what is being done.
func (w *Window) stopTask() {
	if r := w.kept.running; r != nil {
		r.stop()
	}
}

// leaveTask goes back to the choice of what to do; nothing is done.
func (w *Window) leaveTask() {
	k := &w.kept
	if k.running != nil {
		w.stopTask()
		return
	}
	k.task, k.done, k.err, k.contents = taskNone, nil, nil, nil
	w.draw()
}

func countsOf(cars, visits, recordings int) string {
	return dots(N("keep.cars", cars), N("keep.visits", visits), N("keep.recordings", recordings))
}

// missingOf tells of recordings that are named and not there.
func missingOf(files []string) []string {
	if len(files) == 0 {
		return nil
	}
	return []string{N("keep.missing", len(files))}
}

func importedLines(got garage.Imported) []string {
	key := "keep.import.added"
	if got.Joined {
		key = "keep.import.joined"
	}
	out := append([]string{T(key, "Name", named(got.Car.Name)), dots(N("keep.import.new", got.Visits), N("keep.import.already", got.Already))}, missingOf(got.Missing)...)
	if n := len(got.Altered); n > 0 {
		out = append(out, N("keep.altered", n))
	}
	if got.ReportsLeft > 0 {
		out = append(out, N("keep.import.reports", got.ReportsLeft))
	}
	return out
}

func restoredLines(got garage.Restored) []string {
	out := append([]string{T("keep.restore.done"), countsOf(got.Cars, got.Visits, got.Recordings)}, missingOf(got.Missing)...)
	if n := len(got.Altered); n > 0 {
		out = append(out, N("keep.altered", n))
	}
	if got.KeptAs != "" {
		out = append(out, T("keep.restore.kept", "File", got.KeptAs))
	}
	return out
}

func rescuedLines(got garage.Rescued, path string) []string {
	saved, lost := 0, 0
	for _, t := range got.Tables {
		saved, lost = saved+t.Saved, lost+t.Lost
	}
	return []string{T("keep.done.file", "File", path), dots(N("keep.rescue.whole", got.Whole), N("keep.rescue.broken", len(got.Broken))),
		dots(N("keep.rescue.saved", saved), N("keep.rescue.lost", lost)), T("keep.rescue.as-it-was")}
}

// keepTrouble says why a task could not be done.
func (w *Window) keepTrouble() fyne.CanvasObject {
	err := w.kept.err
	var text string
	switch {
	case errors.Is(err, context.Canceled):
		return look.Noted(look.Accent, look.Body(T("keep.stopped")))
	case errors.Is(err, fs.ErrExist):
		text = T("keep.exists")
	case errors.Is(err, fs.ErrNotExist):
		text = T("keep.no-file")
	case errors.Is(err, fs.ErrPermission):
		text = T("keep.not-allowed")
	default:
		text = errorText(err)
	}
	return look.Noted(look.Alert, look.Body(text))
}

// taskID names the part that begins a task.
func taskID(t task) string { return fmt.Sprintf("task %s", t) }

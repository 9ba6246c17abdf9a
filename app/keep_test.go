package app

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/storage"

	"readback/app/look"
	"readback/diag"
	"readback/diag/garage"
)

// keptFiles makes a real logbook with one car, and files of it.
func keptFiles(t *testing.T) (store *garage.Store, path, backUp, car string) {
	t.Helper()
	dir := t.TempDir()
	path = filepath.Join(dir, "readback.db")
	store, err := garage.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	c, err := store.PutCar(t.Context(), garage.Car{Name: "Grey Tarn", VIN: "0TNCE23E3P0004217"})
	if err != nil {
		t.Fatal(err)
	}
	backUp, car = filepath.Join(dir, "all.zip"), filepath.Join(dir, "grey.zip")
	if err := errors.Join(bundleOf(t, backUp, store, 0), bundleOf(t, car, store, c.ID)); err != nil {
		t.Fatal(err)
	}
	return store, path, backUp, car
}

func bundleOf(t *testing.T, path string, s *garage.Store, car int64) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if car == 0 {
		_, err = s.BackUp(t.Context(), f)
	} else {
		_, err = s.ExportCar(t.Context(), car, f)
	}
	return errors.Join(err, f.Close())
}

// TestBackUpFromTheWindow: a back-up goes into the folder and under the name that were said, and never over a file.
func TestBackUpFromTheWindow(t *testing.T) {
	b := newBench(t, setup{})
	dir := t.TempDir()
	b.w.opt.Home = dir
	b.w.Show(PageKeep)
	b.tap("task back-up")
	b.w.kept.name.SetText("mine.zip")
	b.tap("keep-do")
	b.until("done", func() bool { return len(b.w.kept.done) > 0 })
	b.says("mine.zip", "2 cars · 9 visits · 3 recordings", "1 recording could not be found.")
	if got, err := os.ReadFile(filepath.Join(dir, "mine.zip")); err != nil || string(got) != "a back-up" {
		t.Errorf("written: %q, %v", got, err)
	}
	b.tap("keep-leave")
	b.w.keepTask(taskBackUp)
	b.w.kept.name.SetText("mine.zip")
	b.tap("keep-do")
	b.until("refused", func() bool { return b.w.kept.err != nil })
	b.says("There is a file with this name already.")
	b.w.kept.name.SetText("")
	b.says("Say where to write it")
	if b.has("keep-do") {
		t.Error("a back-up without a name can begin")
	}
}

// TestExportFromTheWindow: the car of the visit is chosen first, and another one can be.
func TestExportFromTheWindow(t *testing.T) {
	b := newBench(t, setup{log: keptLog()})
	b.w.opt.Home = t.TempDir()
	b.w.keepTask(taskExport)
	b.until("cars", func() bool { return len(b.w.kept.cars) == 2 })
	b.tap("keep car 1")
	if want := "blue-tarn-van-2026-11-25.zip"; b.w.kept.name.Text != want {
		t.Errorf("the name is %q, want %q", b.w.kept.name.Text, want)
	}
	b.tap("keep-do")
	b.until("done", func() bool { return len(b.w.kept.done) > 0 })
	b.says("4 visits", "Hand it only to somebody you trust.")
	if !slices.Equal(b.log.exported, []int64{1}) {
		t.Errorf("exported %v", b.log.exported)
	}
}

// TestTakeFiles: what is in a file is shown before anything of it is taken; a file of the other kind and one of
// neither kind can't be taken; Escape takes nothing.
func TestTakeFiles(t *testing.T) {
	store, _, backUp, car := keptFiles(t)
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	b := newBench(t, setup{})
	b.w.dropped([]fyne.URI{storage.NewFileURI(car)})
	b.until("inspected", func() bool { return b.w.kept.contents != nil })
	b.says("Add Grey Tarn to your logbook?", "0 visits")
	b.key(fyne.KeyEscape)
	if b.w.kept.task != taskNone || len(b.log.imported) != 0 {
		t.Errorf("after Escape: task %q, imported %v", b.w.kept.task, b.log.imported)
	}
	b.w.dropped([]fyne.URI{storage.NewFileURI(car)})
	b.until("inspected", func() bool { return b.w.kept.contents != nil })
	b.tap("keep-do")
	b.until("done", func() bool { return len(b.w.kept.done) > 0 })
	b.says("Red Tarn was here already, and was joined with it.", "2 visits are new · 5 were here already")
	if info, err := os.Stat(car); err != nil || !slices.Equal(b.log.imported, []int64{info.Size()}) {
		t.Errorf("imported %v, %v", b.log.imported, err)
	}
	b.w.keepTask(taskImport)
	b.w.kept.file.SetText(backUp)
	b.until("inspected", func() bool { return b.w.kept.contents != nil })
	b.says("This file is a back-up of a whole logbook.")
	if b.has("keep-do") {
		t.Error("a back-up can be taken for a car")
	}
	other := filepath.Join(t.TempDir(), "other.zip")
	if err := os.WriteFile(other, []byte("no bundle"), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{other: "This is not a file that Readback has written.", other + "x": "There is no such file or folder."} {
		b.w.kept.file.SetText(path)
		b.until("refused", func() bool { return b.w.kept.err != nil })
		b.says(want)
		if b.has("keep-do") {
			t.Errorf("%s can be taken", path)
		}
	}
}

// TestRestoreFromTheWindow: a back-up is restored while no logbook is open, and the next window tells what came of it.
// Keeping comes first for the keyboard.
func TestRestoreFromTheWindow(t *testing.T) {
	store, path, backUp, _ := keptFiles(t)
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	b := newBench(t, setup{})
	again := newBench(t, setup{})
	b.w.opt.Anew = func(begun func(*Window), job func(context.Context, string)) {
		b.w.End()
		job(t.Context(), path)
		begun(again.w)
	}
	b.w.dropped([]fyne.URI{storage.NewFileURI(backUp)})
	b.until("inspected", func() bool { return b.w.kept.contents != nil })
	b.says("in place of the one here?", "Nothing is deleted.")
	tabs := b.tabs()
	if keep, do := slices.Index(tabs, "keep-leave"), slices.Index(tabs, "keep-do"); keep < 0 || do < keep {
		t.Errorf("Tab comes to keeping at %d, to restoring at %d", keep, do)
	}
	b.tap("keep-do")
	again.says("The back-up is now your logbook.", "1 car · 0 visits · 0 recordings", "The logbook that was here is kept as")
	s, err := garage.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if cars, err := s.Cars(t.Context()); err != nil || len(cars) != 1 || cars[0].Name != "Grey Tarn" {
		t.Errorf("restored %v, %v", cars, err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// TestNoRestoreInAVisit: during a visit the logbook can't be replaced, and its folder can't be changed.
func TestNoRestoreInAVisit(t *testing.T) {
	store, _, backUp, _ := keptFiles(t)
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	b := newBench(t, setup{})
	b.w.opt.Anew = func(func(*Window), func(context.Context, string)) { t.Error("the window begins anew during a visit") }
	b.connect()
	b.w.keepTask(taskRestore)
	b.w.kept.file.SetText(backUp)
	b.until("inspected", func() bool { return b.w.kept.contents != nil })
	b.says("Disconnect first.")
	if b.has("keep-do") {
		t.Error("it can be restored")
	}
	b.w.restore(backUp)
	b.w.moveLogbook(t.TempDir())
	b.w.speakLanguage("de")
	b.w.Show(PageSettings)
	b.says("Changes from the next start on")
	if b.has("folder logbook") || b.w.opt.Taste.Folders.Logbook != "" {
		t.Error("the logbook can be moved")
	}
}

// TestRescueFromTheWindow: what can be read of a logbook goes into a new file.
func TestRescueFromTheWindow(t *testing.T) {
	store, path, _, _ := keptFiles(t)
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	b := newBench(t, setup{})
	b.w.opt.Home = t.TempDir()
	b.w.keepTask(taskRescue)
	b.says("Choose the damaged file")
	b.w.kept.file.SetText(path)
	b.tap("keep-do")
	b.until("done", func() bool { return len(b.w.kept.done) > 0 })
	b.says("0 visits are whole", "The damaged file is as it was.")
	rescued := filepath.Join(b.w.opt.Home, "rescued-2026-11-25.db")
	s, err := garage.Open(t.Context(), rescued)
	if err != nil {
		t.Fatal(err)
	}
	if cars, err := s.Cars(t.Context()); err != nil || len(cars) != 1 || cars[0].Name != "Grey Tarn" {
		t.Errorf("rescued %v, %v", cars, err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// TestWithoutLogbook: what needs a logbook is not offered without one, and says why.
func TestWithoutLogbook(t *testing.T) {
	b := newBench(t, setup{noLog: true})
	b.w.Show(PageKeep)
	b.says("This needs a logbook, and none is open.")
	for _, x := range tasks {
		if b.has(taskID(x)) == x.needsLogbook() {
			t.Errorf("%s is offered: %v", x, !x.needsLogbook())
		}
	}
	b.w.keepTask(taskBackUp)
	if b.w.kept.task != taskNone {
		t.Error("a back-up of nothing has begun")
	}
}

func TestPlainName(t *testing.T) {
	for in, want := range map[string]string{"Blue Tarn van": "blue-tarn-van", "../../etc/passwd": "etc-passwd", "Élan 2": "élan-2", "": "car", " / ": "car", `a\b:c*d?`: "a-b-c-d"} {
		if got := plainName(in); got != want {
			t.Errorf("%q gives %q, want %q", in, got, want)
		}
	}
}

// TestPlugReminder: closing the window after a visit to a real car reminds of the plug, once; then it closes.
func TestPlugReminder(t *testing.T) {
	for _, practice := range []bool{false, true} {
		v := vanVisit()
		v.abilities.Practice = practice
		b := newBench(t, setup{visit: v, place: "serial:/dev/ttyUSB0"})
		b.until("connected", func() bool { return b.w.link.visit != nil })
		b.w.Show(PageCodes)
		if first := b.w.MayClose(); first != practice {
			t.Errorf("practice %v: it may close at once: %v", practice, first)
		}
		if practice {
			continue
		}
		b.says("Pull the adapter out of the car", "NOTICE")
		b.key(fyne.KeyEscape)
		if b.w.page != PageCodes {
			t.Errorf("Escape leads to %s", b.w.page)
		}
		if !b.w.MayClose() {
			t.Error("closing again does not close")
		}
	}
	replay := vanVisit()
	replay.abilities.Practice, replay.place = false, "replay:a.pcapng"
	b := newBench(t, setup{visit: replay, place: "replay:a.pcapng"})
	b.until("connected", func() bool { return b.w.link.visit != nil })
	if !b.w.MayClose() {
		t.Error("a recording has no plug")
	}
}

// bell keeps the notifications that were sent.
type bell struct {
	fyne.App
	mu   sync.Mutex
	told []string
}

func (n *bell) SendNotification(x *fyne.Notification) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.told = append(n.told, x.Title)
}

func (n *bell) first() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	if len(n.told) == 0 {
		return ""
	}
	return n.told[0]
}

// TestNotified: the end of long work is told while the window is not in front; of short work, and while it is looked
// at, it is not.
func TestNotified(t *testing.T) {
	b := newBench(t, setup{})
	b.connect()
	b.w.code.modules = nil
	for _, c := range []struct {
		away bool
		took int // seconds
		err  error
		want string
	}{{true, 3, nil, ""}, {false, 60, nil, ""}, {true, 60, nil, "The car has been read"}, {true, 60, errNothing, "The reading has ended early"}} {
		n := &bell{App: b.w.app}
		b.w.app = n
		b.w.leaving.away = c.away
		b.w.code.looking = &looking{begun: begin.Add(time.Duration(3-c.took) * time.Second), stop: func() {}}
		b.w.draw()
		b.w.code.looking, b.w.code.lookErr = nil, c.err
		b.w.draw()
		done := false
		b.w.act(func(context.Context) func() { return func() { done = true } })
		b.until("what was begun is done", func() bool { return done && (c.want == "" || n.first() != "") })
		if got := n.first(); got != c.want {
			t.Errorf("away %v, %d s: told %q, want %q", c.away, c.took, got, c.want)
		}
		b.w.app = n.App
	}
}

// TestBundleKinds: the sentences for files that can't be taken are the ones of the engine.
func TestBundleKinds(t *testing.T) {
	b := newBench(t, setup{})
	b.w.keepTask(taskImport)
	for _, f := range []garage.Fault{garage.FaultNewer, garage.FaultDamaged, garage.FaultTooLarge} {
		b.w.kept.err = &garage.FileError{Fault: f, Cause: errNothing}
		b.w.draw()
		b.says(diag.Sentence(b.w.kept.err))
	}
	if b.w.kept.err = context.Canceled; !strings.Contains(reads(b.w.keepTrouble()), "Stopped.") {
		t.Error("a task that was stopped does not say so")
	}
	if look.Find(b.w.main.Object, "keep-do") != nil {
		t.Error("it can begin without a file")
	}
}

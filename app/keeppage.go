package app

import (
	"fmt"

	"fyne.io/fyne/v2"

	"readback/app/look"
)

// keepPage is where records are backed up, brought back, handed on and rescued.
func (w *Window) keepPage() (body, margin fyne.CanvasObject) {
	k := &w.kept
	margin = w.margin(T("source.keep"), T("keep.m.where"), T("keep.m.where.text"), T("keep.m.file"), T("keep.m.file.text"), T("keep.m.damage"), T("keep.m.damage.text"))
	switch {
	case k.running != nil:
		return w.keepRunning(), margin
	case k.task == taskNone:
		return w.keepChoice(), margin
	case len(k.done) > 0:
		var lines []fyne.CanvasObject
		for _, l := range k.done {
			lines = append(lines, look.AsIs(l, look.Style{}))
		}
		return look.Stack(18, w.header(T("keep.done"), ""), look.Noted(look.Accent, look.Stack(4, lines...)),
			look.Buttons(look.NewButton("keep-leave", T("keep.again"), look.Plain, w.leaveTask))), margin
	}
	return w.keepForm(), margin
}

// keepRunning shows how far a task is.
func (w *Window) keepRunning() fyne.CanvasObject {
	r := w.kept.running
	said := []fyne.CanvasObject{look.AsIs(r.file, look.Style{Mono: true, Size: look.SizeSmall})}
	if n := r.bytes.Load(); n > 0 {
		said = append(said, look.Body(T("keep.running.bytes", "Size", megabytes(n))))
	}
	said = append(said, look.Small(N("keep.running.for", int(w.now().Sub(r.begun).Seconds()))))
	return look.Stack(18, w.header(T("keep.running."+string(w.kept.task)), T("keep.running.lead")), look.Boxed(look.Stack(4, said...)),
		look.Buttons(look.NewButton("keep-stop", T("cancel"), look.Plain, w.stopTask)))
}

// megabytes is a size of a file in MB of a million bytes (IEC 80000-13).
func megabytes(n int64) string { return decimal(float64(n)/1e6, 1) }

// keepChoice lists what can be done.
func (w *Window) keepChoice() fyne.CanvasObject {
	parts := []fyne.CanvasObject{w.header(T("keep.title"), T("keep.lead"))}
	var rows []fyne.CanvasObject
	for _, t := range tasks {
		text := []fyne.CanvasObject{look.Head(T("keep." + string(t))), look.Small(T("keep." + string(t) + ".about"))}
		if t.needsLogbook() && w.engine.Log == nil {
			rows = append(rows, look.Pad(11, 16, 11, 16, look.Stack(2, append(text, look.Small(T("keep.no-logbook")))...)))
			continue
		}
		rows = append(rows, look.NewChoice(taskID(t), T("keep."+string(t)), look.Pad(11, 16, 11, 16, look.Stack(2, text...)), false, func() { w.keepTask(t) }))
	}
	return look.Stack(18, append(parts, look.Rows(rows...))...)
}

// keepForm asks for what a task needs to know, and shows what would happen.
func (w *Window) keepForm() fyne.CanvasObject {
	k := &w.kept
	id := string(k.task)
	parts := []fyne.CanvasObject{w.header(T("keep."+id), T("keep."+id+".lead"))}
	var rows []fyne.CanvasObject
	if k.task.reads() {
		kinds := []string{bundleFile}
		if k.task == taskRescue {
			kinds = nil
		}
		pick := func() {
			w.chooseFile(w.outFolder(), kinds, func(path string) { k.file.SetText(path) })
		}
		rows = append(rows, w.pathRow(T("keep.file"), k.file, look.NewButton("keep-choose", T("keep.choose"), look.Plain, pick).Small()))
	}
	if k.task == taskExport {
		rows = append(rows, w.exportCars())
	}
	if k.task.writes() {
		pick := func() {
			w.chooseFolder(k.folder.Text, func(dir string) { k.folder.SetText(dir); w.draw() })
		}
		rows = append(rows, w.pathRow(T("keep.folder"), k.folder, look.NewButton("keep-choose-folder", T("keep.choose"), look.Plain, pick).Small()), w.pathRow(T("keep.name"), k.name, nil))
	}
	parts = append(parts, look.Rows(rows...))
	if k.err != nil {
		parts = append(parts, w.keepTrouble())
	}
	if c := w.contentsCard(); c != nil {
		parts = append(parts, c)
	}
	parts = append(parts, w.keepActs())
	return look.Stack(18, parts...)
}

// pathRow is a name, a field for a path, and a button that lets it be chosen.
func (w *Window) pathRow(name string, f *look.Field, choose fyne.CanvasObject) fyne.CanvasObject {
	cells := []look.Cell{look.Growing(f)}
	if choose != nil {
		cells = append(cells, look.Natural(choose))
	}
	return look.Pad(8, 14, 8, 14, look.Stack(3, look.Body(name), look.Row(10, cells...)))
}

func (w *Window) exportCars() fyne.CanvasObject {
	k := &w.kept
	var cars []fyne.CanvasObject
	for _, c := range k.cars {
		name := listedCar(c)
		cars = append(cars, look.NewButton(fmt.Sprintf("keep car %d", c.ID), name, look.Quiet, func() { k.car = c.ID; w.suggestName(); w.draw() }).Chosen(c.ID == k.car))
	}
	if len(cars) == 0 {
		cars = append(cars, look.Small(T("car.none.lead")))
	}
	return look.Pad(8, 14, 8, 14, look.Stack(3, look.Body(T("keep.car")), look.Wrap(4, cars...)))
}

// contentsCard shows what is in the file that was named, before anything of it is taken.
func (w *Window) contentsCard() fyne.CanvasObject {
	k := &w.kept
	c := k.contents
	if c == nil {
		return nil
	}
	made := T("keep.made", "When", when(c.Made, w.now()))
	switch {
	case k.task == taskRestore && c.Whole:
		return look.Noted(look.Amber, look.Stack(4, look.Head(T("keep.restore.ask", "When", day(c.Made))), look.Body(dots(made, N("keep.recordings", c.Recordings))),
			look.Body(T("keep.restore.what")), look.Body(T("keep.restore.stays"))))
	case k.task == taskImport && !c.Whole:
		return look.Noted(look.Accent, look.Stack(4, look.Head(T("keep.import.ask", "Name", c.Car)), look.Body(dots(N("keep.visits", c.Visits), N("keep.recordings", c.Recordings), made)),
			look.Body(T("keep.import.what"))))
	case c.Whole:
		return look.Noted(look.Amber, look.Body(T("keep.is-back-up")))
	}
	return look.Noted(look.Amber, look.Body(T("keep.is-car", "Name", c.Car)))
}

// keepActs are the buttons of a form. The one that changes something is never where the keyboard begins.
func (w *Window) keepActs() fyne.CanvasObject {
	k := &w.kept
	leave := look.NewButton("keep-leave", T("keep.leave."+string(k.task)), look.Plain, w.leaveTask)
	switch {
	case k.task == taskRestore && w.link.visit != nil:
		return look.Stack(6, look.Small(T("keep.restore.visit")), look.Buttons(leave))
	case !k.ready():
		return look.Stack(6, look.Small(T("keep.need."+string(k.task))), look.Buttons(leave))
	}
	do := look.NewButton("keep-do", T("keep.do."+string(k.task)), look.Main, w.beginTask)
	if k.task == taskRestore {
		return look.Buttons(leave, do)
	}
	return look.Buttons(do, leave)
}

package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/garage"
)

// logState is the logbook: the cars, and what is kept of the chosen one.
type logState struct {
	cars   []garage.Car
	chosen int64 // 0: the car of this visit, else the first
	book   carBook
	err    error
	said   string
	due    []garage.ProofStep // of all cars
	all    bool               // every code, not only those that returned or are there now
	report reportForm
}

// carBook is what the logbook holds of one car.
type carBook struct {
	car     garage.Car
	visits  []garage.Summary
	journal []garage.Entry
	returns []diag.Returns
	proof   diag.Proving // after the newest erase
	reports []garage.Report
}

// reportForm is a report that is about to be written.
type reportForm struct {
	visit   int64 // 0 when none is
	shared  bool
	preview diag.Preview
	err     error // why it could not be written
	who     *look.Field
	purpose *look.Field
}

func (w *Window) makeLogFields() {
	w.logs.report.who = look.NewField("report-who", T("report.who.hint"), false, nil)
	w.logs.report.purpose = look.NewField("report-purpose", T("report.purpose.hint"), false, nil)
}

// enterLogbook reads the logbook.
func (w *Window) enterLogbook() {
	w.logs.said = ""
	w.logs.report.visit = 0
	w.readLogbook()
}

func (w *Window) readLogbook() {
	log := w.engine.Log
	if log == nil {
		return
	}
	want := w.logs.chosen
	if want == 0 {
		want = w.car().ID
	}
	now := w.now()
	w.act(func(ctx context.Context) func() {
		cars, err := log.Cars(ctx)
		due, e := log.DueProof(ctx, now)
		err = errors.Join(err, e)
		i := slices.IndexFunc(cars, func(c garage.Car) bool { return c.ID == want })
		if i < 0 {
			i = 0
		}
		var book carBook
		if len(cars) > 0 {
			book, e = readBook(ctx, log, cars[i])
			err = errors.Join(err, e)
		}
		return func() { w.logs.cars, w.logs.book, w.logs.due, w.logs.err = cars, book, due, err }
	})
}

func readBook(ctx context.Context, log Logbook, car garage.Car) (b carBook, err error) {
	b.car = car
	if b.visits, err = log.Visits(ctx, car.ID); err != nil {
		return b, err
	}
	if b.journal, err = log.Journal(ctx, car.ID); err != nil {
		return b, err
	}
	history, err := log.CodeHistory(ctx, car.ID)
	if err != nil {
		return b, err
	}
	b.returns = diag.FindReturns(history, b.journal)
	if b.proof, err = diag.NewestProof(ctx, log, history, b.journal); err != nil {
		return b, err
	}
	b.reports, err = log.Reports(ctx, car.ID)
	return b, err
}

// withLogbook does something with the logbook and reads it again.
func (w *Window) withLogbook(do func(ctx context.Context, log Logbook) error) {
	w.act(func(ctx context.Context) func() {
		err := do(ctx, w.engine.Log)
		return func() {
			w.readLogbook()
			w.logs.err = err
		}
	})
}

func (w *Window) logbookPage() (body, margin fyne.CanvasObject) {
	l := &w.logs
	margin = w.margin(T("source.trend"), T("log.m.trend"), T("log.m.trend.text"), T("log.m.proof"), T("log.m.proof.text"), T("log.m.share"), T("log.m.share.text"))
	if l.err != nil && len(l.cars) == 0 {
		return look.Stack(16, w.header(T("log.title"), T("log.lead")), look.Noted(look.Alert, look.Body(errorText(l.err)))), margin
	}
	if len(l.cars) == 0 {
		return w.empty(T("log.none.title"), T("log.none.lead"), "go-link", T("go.link"), PageLink), margin
	}
	if l.report.visit != 0 {
		return w.reportBody(), margin
	}
	parts := []fyne.CanvasObject{w.header(T("log.title"), T("log.lead"))}
	if len(l.cars) > 1 {
		parts = append(parts, w.carChoice())
	}
	if l.err != nil {
		parts = append(parts, look.Noted(look.Alert, look.Body(errorText(l.err))))
	}
	if l.said != "" {
		parts = append(parts, look.Small(l.said))
	}
	if p := w.proofCard(); p != nil {
		parts = append(parts, p)
	}
	parts = append(parts, w.codeLines(), w.bookVisits())
	if r := w.reportList(); r != nil {
		parts = append(parts, r)
	}
	return look.Stack(16, parts...), margin
}

func (w *Window) carChoice() fyne.CanvasObject {
	var cars []fyne.CanvasObject
	for _, c := range w.logs.cars {
		name := listedCar(c)
		cars = append(cars, look.NewButton(fmt.Sprintf("book %d", c.ID), name, look.Quiet, func() {
			w.logs.chosen = c.ID
			w.readLogbook()
		}).Chosen(c.ID == w.logs.book.car.ID))
	}
	return look.Wrap(4, cars...)
}

// codeLines draw each code over the visits, with what its returns show.
func (w *Window) codeLines() fyne.CanvasObject {
	b := &w.logs.book
	if len(b.visits) == 0 {
		return look.Gap(0)
	}
	from, to := b.visits[len(b.visits)-1].Begun, b.visits[0].Begun
	returns := slices.Clone(b.returns)
	slices.SortStableFunc(returns, func(x, y diag.Returns) int { return len(y.Seen) - len(x.Seen) })
	var rows []fyne.CanvasObject
	hidden := 0
	for _, r := range returns {
		last := r.Marks[len(r.Marks)-1]
		if !w.logs.all && len(r.Seen) < 2 && !last.Now {
			hidden++
			continue
		}
		name := look.Stack(1, look.Styled(r.Code, look.Style{Mono: true, Bold: true}), look.Small(named(r.Module)))
		rows = append(rows, look.Pad(8, 14, 8, 14, look.Stack(2,
			look.Row(12, look.Fixed(look.Scaled(130), name), look.Growing(look.NewTimeline(from, to, moments(r)))), look.Small(told(r.Text)))))
	}
	parts := []fyne.CanvasObject{look.Head(T("log.codes")), look.Small(T("log.codes.key"))}
	if len(rows) > 0 {
		axis := look.Pad(0, 14, 6, 14, look.Row(12, look.Fixed(look.Scaled(130), look.Gap(1)), look.Growing(look.NewTimeline(from, to, nil, axisLabels(from, to)...))))
		parts = append(parts, look.Rows(append(rows, axis)...))
	} else {
		parts = append(parts, look.Boxed(look.Small(T("log.codes.none"))))
	}
	if hidden > 0 || w.logs.all {
		text := N("log.codes.more", hidden)
		if w.logs.all {
			text = T("log.codes.fewer")
		}
		parts = append(parts, look.Buttons(look.NewButton("all-codes", text, look.Quiet, func() { w.logs.all = !w.logs.all; w.draw() })))
	}
	return look.Stack(6, parts...)
}

// moments are the visits on a code's line.
func moments(r diag.Returns) (out []look.Moment) {
	for _, m := range r.Marks {
		switch {
		case !m.Read:
		case m.Now:
			out = append(out, look.Moment{At: m.At, Sign: look.MarkNow})
		case m.Present:
			out = append(out, look.Moment{At: m.At, Sign: look.MarkRemembered})
		default:
			out = append(out, look.Moment{At: m.At, Bare: true})
		}
	}
	return out
}

// axisLabels are the days, or the minutes, at both ends and in the middle; none stands there twice.
func axisLabels(from, to time.Time) []look.Label {
	form := "date.axis"
	if to.Sub(from) > 300*24*time.Hour {
		form = "date.axis.month"
	}
	if to.Sub(from) < 36*time.Hour {
		form = "date.axis.time"
	}
	var out []look.Label
	for i := range 4 {
		at := from.Add(to.Sub(from) * time.Duration(i) / 3)
		if text := dated(form, at); i == 0 || text != out[len(out)-1].Text {
			out = append(out, look.Label{At: at, Text: text})
		}
	}
	return out
}

// bookVisits are the visits of the car, each with its report.
func (w *Window) bookVisits() fyne.CanvasObject {
	b := &w.logs.book
	var rows []fyne.CanvasObject
	for _, v := range b.visits {
		rows = append(rows, look.Pad(8, 8, 8, 14, look.Row(12, look.Growing(w.visitText(v)), look.Natural(look.NewButton(fmt.Sprintf("report %d", v.ID), T("report.make"), look.Quiet, func() { w.prepareReport(v.ID) })))))
	}
	if len(rows) == 0 {
		rows = append(rows, look.Pad(12, 14, 12, 14, look.Small(T("visit.none"))))
	}
	return look.Stack(6, look.Head(T("visit.title")), look.Rows(rows...))
}

func (w *Window) reportList() fyne.CanvasObject {
	var rows []fyne.CanvasObject
	for _, r := range w.logs.book.reports {
		kind := T("report.whole")
		if r.Shared {
			kind = T("report.shared")
		}
		rows = append(rows, look.Pad(7, 14, 7, 14, look.Stack(1, look.Body(T("report.line", "When", when(r.Made, w.now()), "Form", r.Form, "Visit", r.Visit, "Kind", kind)),
			look.Styled(r.Digest.String(), look.Style{Mono: true, Size: look.SizeFine, Color: look.Soft}))))
	}
	if len(rows) == 0 {
		return nil
	}
	return look.Stack(6, look.Head(T("report.title")), look.Small(T("report.chain")), look.Rows(rows...))
}

// prepareReport shows what a report would hold, and what a shared copy would leave out.
func (w *Window) prepareReport(visit int64) {
	if w.engine.Preview == nil {
		return
	}
	w.logs.report.visit, w.logs.report.err = visit, nil
	w.previewReport()
}

func (w *Window) previewReport() {
	f := &w.logs.report
	visit, o := f.visit, w.reportOptions()
	w.act(func(ctx context.Context) func() {
		p, err := w.engine.Preview(ctx, visit, o)
		return func() {
			if w.logs.report.visit != visit {
				return
			}
			w.logs.report.preview, w.logs.err = p, err
			if err != nil {
				w.logs.report.visit = 0
			}
		}
	})
	w.draw()
}

func (w *Window) reportOptions() diag.ReportOptions {
	f := &w.logs.report
	return diag.ReportOptions{Language: tongueOf(w.reportLanguage()).Tag(), Who: f.who.Text, Purpose: f.purpose.Text, Shared: f.shared, Now: w.now()}
}

// reportLanguage is the language that reports are written in: that of the window until the owner has chosen another one, for a
// workshop that reads it better.
func (w *Window) reportLanguage() string {
	return cmp.Or(loaded().closest(w.opt.Taste.Report), Spoken())
}

// reportLanguages are the languages that a report can be written in.
func (w *Window) reportLanguages() fyne.CanvasObject {
	var all []fyne.CanvasObject
	for _, l := range Languages() {
		all = append(all, look.NewButton("report-in "+l.Tag, l.Name, look.Quiet, func() {
			w.opt.Taste.Report = l.Tag
			if l.Tag == Spoken() {
				w.opt.Taste.Report = ""
			}
			w.keepTaste()
			w.previewReport()
		}).Chosen(l.Tag == w.reportLanguage()))
	}
	return choices(all...)
}

func (w *Window) reportBody() fyne.CanvasObject {
	f := &w.logs.report
	kind := func(shared bool, key string) fyne.CanvasObject {
		return look.NewButton(key, T(key), look.Quiet, func() { f.shared = shared; w.previewReport() }).Chosen(f.shared == shared)
	}
	entry := func(label string, x fyne.CanvasObject) fyne.CanvasObject {
		return look.Row(12, look.Fixed(look.Scaled(140), look.Body(label)), look.Growing(x))
	}
	parts := []fyne.CanvasObject{w.header(T("report.head", "Visit", f.visit), T("report.lead")),
		look.Boxed(look.Stack(10, look.Wrap(4, kind(false, "report.whole"), kind(true, "report.shared")), entry(T("report.language"), w.reportLanguages()), entry(T("report.who"), f.who), entry(T("report.purpose"), f.purpose)))}
	if f.shared {
		removed := []fyne.CanvasObject{look.Head(N("report.removed", len(f.preview.Removed)))}
		for _, r := range f.preview.Removed {
			removed = append(removed, look.AsIs(r, look.Style{Size: look.SizeSmall, Color: look.Soft}))
		}
		parts = append(parts, look.Noted(look.Accent, look.Stack(2, removed...)))
	}
	parts = append(parts, look.Buttons(
		look.NewButton("save-pdf", T("report.pdf"), look.Main, func() { w.saveReport("pdf") }),
		look.NewButton("save-html", T("report.html"), look.Plain, func() { w.saveReport("html") }),
		look.NewButton("report-leave", T("cancel"), look.Quiet, func() { f.visit = 0; w.draw() })))
	if err := cmp.Or(f.err, w.logs.err); err != nil {
		parts = append(parts, look.Noted(look.Alert, look.Body(errorText(err))))
	}
	var lines []fyne.CanvasObject
	for _, s := range f.preview.Sections {
		lines = append(lines, look.Head(s.Title))
		for _, l := range s.Lines {
			lines = append(lines, look.AsIs(l, look.Style{Size: look.SizeSmall, Color: look.Soft}))
		}
	}
	if len(lines) > 0 {
		parts = append(parts, look.Stack(6, look.Head(T("report.preview")), look.Boxed(look.Stack(3, lines...))))
	}
	return look.Stack(16, parts...)
}

// saveReport lets the owner choose where the report is written.
func (w *Window) saveReport(form string) {
	visit, o := w.logs.report.visit, w.reportOptions()
	w.chooseTarget(w.opt.Taste.Folders.Reports, T("report.file", "Visit", visit)+"."+form, "."+form, func(path string) { w.writeReport(visit, path, o) })
}

func (w *Window) writeReport(visit int64, path string, o diag.ReportOptions) {
	w.act(func(ctx context.Context) func() {
		// A report is written whole under another name first: what may be written over stays until then.
		fresh := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%d-%s", time.Now().UnixNano(), filepath.Base(path)))
		r, err := w.engine.WriteReport(ctx, visit, fresh, o)
		if err == nil {
			err = os.Rename(fresh, path)
		}
		if file := (*fs.PathError)(nil); errors.As(err, &file) && file.Path == fresh {
			file.Path = path // the owner knows no other
		}
		return func() {
			w.logs.report.err = err
			if err == nil {
				w.logs.report.visit, w.logs.said = 0, T("report.written", "File", filepath.Base(path), "Digest", r.Digest.String())
				w.readLogbook()
			}
		}
	})
}

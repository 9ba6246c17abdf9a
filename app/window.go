package app

import (
	"context"
	"runtime"
	"sync"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"

	"readback/app/look"
	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/lesson"
)

// Page is one page of the window.
type Page string

// The pages, in the order of a visit.
const (
	PageCar      Page = "car"
	PageCable    Page = "cable"
	PageLink     Page = "link"
	PageCodes    Page = "codes"
	PageRequest  Page = "request"
	PageGate     Page = "gate"
	PageReadBack Page = "read-back"
	PageLogbook  Page = "logbook"
	PageTalk     Page = "talk"
	PageHeard    Page = "heard"
	PagePractice Page = "practice"
)

// steps are the pages that are steps of a visit.
var steps = []Page{PageCable, PageLink, PageCodes, PageRequest, PageGate, PageReadBack}

// beside are the pages beside a visit.
var beside = []Page{PageLogbook, PageTalk, PageHeard, PagePractice}

// Taste is what the owner has chosen for the window itself.
type Taste struct {
	Shade  look.Shade `json:"shade"`
	Factor float32    `json:"textSize"`
}

// Options are how a window begins.
type Options struct {
	Taste Taste
	Place adapter.Place // connected at once when not ""
	// Keep, when not nil, is told of each change of taste.
	Keep func(Taste)
	// Progress is how far the owner has come in the lessons; KeepProgress, when not nil, is told when they come further.
	Progress     lesson.Progress
	KeepProgress func(lesson.Progress)
	// Do runs a function on the window's thread; nil is [fyne.Do].
	Do func(func())
	// Now tells the time; nil is [time.Now].
	Now func() time.Time
	// System is what this computer runs, as runtime.GOOS names it, which it stands for when it is "".
	System string
}

// Window is the whole window. Its methods are called on the window's thread.
type Window struct {
	app    fyne.App
	win    fyne.Window
	engine Engine
	opt    Options
	theme  *look.Theme
	door   *door
	ctx    context.Context
	stop   context.CancelFunc
	work   sync.WaitGroup
	held   held
	now    func() time.Time

	page  Page
	cable cableState
	link  linkState
	code  codeState
	req   requestState
	card  cardState
	note  noteState
	pass  gateState
	back  backState
	cars  carState
	logs  logState
	les   lessonState
	said  talkState
	ear   heardState

	rail, main, side *look.Scroller
	strip            *fyne.Container
	shown            Page // the page that main shows at this moment
}

// New puts the program into a window of Fyne's and begins to look for adapters. Close must be called at the end.
func New(a fyne.App, win fyne.Window, e Engine, o Options) *Window {
	if o.Do == nil {
		o.Do = fyne.Do
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.System == "" {
		o.System = runtime.GOOS
	}
	w := &Window{app: a, win: win, engine: e, opt: o, now: o.Now, page: PageLink,
		theme: &look.Theme{Shade: o.Taste.Shade, Factor: o.Taste.Factor}}
	w.ctx, w.stop = context.WithCancel(context.Background())
	w.door = &door{do: o.Do, draw: w.draw}
	a.Settings().SetTheme(w.theme)
	w.makeFields()
	w.rail, w.main, w.side = look.NewScroller(look.Gap(1)), look.NewScroller(look.Gap(1)), look.NewScroller(look.Gap(1))
	w.strip = look.Pad(0, 0, 0, 0, look.Gap(1))
	win.SetPadded(false)
	win.SetContent(w.frame())
	w.keys(win.Canvas())
	a.Settings().AddListener(func(fyne.Settings) { w.opt.Do(w.draw) })
	w.draw()
	w.watchAdapters()
	w.askOpenQuestions()
	w.askDueProof()
	w.every(time.Second, w.tick)
	w.every(hearEvery, w.overhear)
	win.SetOnDropped(func(_ fyne.Position, files []fyne.URI) { w.dropped(files) })
	if o.Place != "" {
		w.connect(o.Place)
	}
	return w
}

// Close ends all work and the visit, and waits for both.
func (w *Window) Close() error {
	w.stop()
	w.door.close()
	w.work.Wait()
	return w.held.close()
}

// Page is the page that is shown.
func (w *Window) Page() Page { return w.page }

// Show turns to a page.
func (w *Window) Show(p Page) {
	if p == PageGate && w.page != PageGate {
		w.enterGate()
	}
	switch p {
	case PageCar:
		w.enterCar()
	case PageCable:
		w.enterCable()
	case PageRequest:
		w.enterRequest()
	case PageLogbook:
		w.enterLogbook()
	case PageTalk:
		w.enterTalk()
	}
	w.page = p
	w.draw()
}

// Act runs f off the window's thread. What f returns runs on the thread afterwards; nil is nothing.
func (w *Window) act(f func(ctx context.Context) func()) { w.actIn(w.ctx, f) }

func (w *Window) actIn(ctx context.Context, f func(ctx context.Context) func()) {
	w.work.Go(func() {
		if done := f(ctx); done != nil {
			w.door.hand("", done)
		}
	})
}

// every hands f to the window's thread again and again until the window is closed.
func (w *Window) every(d time.Duration, f func()) {
	w.work.Go(func() {
		t := time.NewTicker(d)
		defer t.Stop()
		for {
			select {
			case <-w.ctx.Done():
				return
			case <-t.C:
				w.opt.Do(f)
			}
		}
	})
}

// tick keeps what grows old up to date: the gate's ages, and the time that a reading has taken.
func (w *Window) tick() {
	if w.ctx.Err() != nil {
		return
	}
	w.watchHealth()
	changed := w.watchSupply()
	switch {
	case w.page == PageGate && w.pass.sending == nil:
		w.remeasure()
		w.draw()
	case w.page == PageCodes && w.code.looking != nil, w.page == PageGate, changed:
		w.draw()
	}
}

// keys binds the keys that work everywhere: Escape keeps or cancels, Ctrl+1 to Ctrl+6 turn to a step.
func (w *Window) keys(c fyne.Canvas) {
	c.SetOnTypedKey(func(e *fyne.KeyEvent) {
		if e.Name == fyne.KeyEscape {
			w.escape()
		}
	})
	numbers := []fyne.KeyName{fyne.Key1, fyne.Key2, fyne.Key3, fyne.Key4, fyne.Key5, fyne.Key6}
	for i, p := range steps {
		c.AddShortcut(&desktop.CustomShortcut{KeyName: numbers[i], Modifier: fyne.KeyModifierControl}, func(fyne.Shortcut) { w.Show(p) })
	}
	c.AddShortcut(&desktop.CustomShortcut{KeyName: fyne.KeyL, Modifier: fyne.KeyModifierControl}, func(fyne.Shortcut) { w.Show(PageLogbook) })
	c.AddShortcut(&desktop.CustomShortcut{KeyName: fyne.KeyT, Modifier: fyne.KeyModifierControl}, func(fyne.Shortcut) { w.Show(PageTalk) })
	c.AddShortcut(&desktop.CustomShortcut{KeyName: fyne.KeyH, Modifier: fyne.KeyModifierControl}, func(fyne.Shortcut) { w.Show(PageHeard) })
	c.AddShortcut(&desktop.CustomShortcut{KeyName: fyne.KeyP, Modifier: fyne.KeyModifierControl}, func(fyne.Shortcut) { w.Show(PagePractice) })
	c.AddShortcut(&desktop.CustomShortcut{KeyName: fyne.Key0, Modifier: fyne.KeyModifierControl}, func(fyne.Shortcut) { w.Show(PageCar) })
}

// escape always keeps: it stops what only reads, and leaves the gate without sending.
func (w *Window) escape() {
	switch {
	case w.code.looking != nil:
		w.stopLooking()
	case w.link.opening != nil:
		w.stopOpening()
	case w.pass.sending != nil:
		// A request that is on its way can't be taken back; its reading afterwards has a button of its own.
	case w.page == PageGate:
		w.Show(PageRequest)
	case w.said.reading != nil:
		w.stopReading()
	case w.page == PagePractice && w.les.run != nil:
		w.leaveLesson()
	}
}

// draw builds all four zones from the state.
func (w *Window) draw() {
	if w.ctx.Err() != nil {
		return
	}
	body, margin := w.pageContent() // first: the rail tells what the page finds
	w.rail.Set(w.railContent())
	w.main.Set(body)
	w.side.Set(look.Pad(22, 20, 20, 20, margin))
	w.strip.Objects = []fyne.CanvasObject{w.stripContent()}
	w.strip.Refresh()
	if w.shown != w.page {
		w.main.ToTop()
		w.side.ToTop()
		w.shown = w.page
	}
	w.unfocusGone()
}

// unfocusGone takes the keyboard from a part that is no longer shown.
func (w *Window) unfocusGone() {
	f, ok := w.win.Canvas().Focused().(look.Identified)
	if ok && look.Find(w.win.Canvas().Content(), f.ID()) != f {
		w.win.Canvas().Unfocus()
	}
}

func (w *Window) pageContent() (body, margin fyne.CanvasObject) {
	switch w.page {
	case PageCar:
		body, margin = w.carPage()
	case PageCable:
		body, margin = w.cablePage()
	case PageCodes:
		body, margin = w.codesPage()
	case PageRequest:
		body, margin = w.requestPage()
	case PageGate:
		body, margin = w.gatePage()
	case PageReadBack:
		body, margin = w.readBackPage()
	case PageLogbook:
		body, margin = w.logbookPage()
	case PageTalk:
		body, margin = w.talkPage()
	case PageHeard:
		body, margin = w.heardPage()
	case PagePractice:
		body, margin = w.practicePage()
	default:
		body, margin = w.linkPage()
	}
	return look.Pad(26, 30, 26, 30, body), margin
}

// taste changes the look of the window.
func (w *Window) taste(t Taste) {
	w.opt.Taste = t
	w.theme.Shade, w.theme.Factor = t.Shade, t.Factor
	w.app.Settings().SetTheme(w.theme)
	w.draw()
	if w.opt.Keep != nil {
		w.opt.Keep(t)
	}
}

// MayClose tells whether the window may be closed now. While a request is on its way it may not: the page that says
// so is shown instead.
func (w *Window) MayClose() bool {
	s := w.pass.sending
	if s == nil || s.stage == diag.SendReadBack || s.stage == diag.SendDone {
		return true
	}
	w.Show(PageGate)
	return false
}

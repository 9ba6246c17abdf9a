package app

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
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
	PageLive     Page = "live"
	PagePractice Page = "practice"
	PageStart    Page = "start"
	PageKeep     Page = "keep"
	PageSettings Page = "settings"
	PageHelp     Page = "help"
	PageLeave    Page = "leave"
	PageChoose   Page = "choose"
)

// steps are the pages that are steps of a visit.
var steps = []Page{PageCable, PageLink, PageCodes, PageRequest, PageGate, PageReadBack}

// beside are the pages beside a visit.
var beside = []Page{PageLogbook, PageLive, PageTalk, PageHeard, PagePractice}

// around are the pages about the program itself.
var around = []Page{PageStart, PageKeep, PageSettings, PageHelp}

// Options are how a window begins.
type Options struct {
	Taste Taste
	Page  Page          // what is shown first; "" is the link
	Place adapter.Place // connected at once when not ""
	// Home is the folder in which files are written and looked for first when the owner has chosen none; Logbook is where
	// the logbook is kept, LogbookFixed tells that it can't be chosen here.
	Home, Logbook string
	LogbookFixed  bool
	// Anew, when not nil, ends this window and closes its logbook, runs a job off the window's thread that needs it closed
	// (nil is none; it is told the file of the logbook), and begins another window in the same place. begun runs on the
	// thread of that one.
	Anew func(begun func(*Window), job func(ctx context.Context, logbook string))
	// Keep, when not nil, is told of each change of taste.
	Keep func(Taste)
	// Progress is how far the owner has come in the lessons; KeepProgress, when not nil, is told when they come further.
	Progress     lesson.Progress
	KeepProgress func(lesson.Progress)
	// Do runs a function on the window's thread; nil is [fyne.Do].
	Do func(func())
	// Now tells the time; nil is [time.Now].
	Now func() time.Time
	// OpenGL tells that Fyne paints with it.
	OpenGL bool
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
	live  liveState
	kept  keepState
	help  helpState
	menu  menuState

	commands []command

	leaving leaveState
	pick    chooseState

	rail, main, side *look.Scroller
	foot             *look.Slot // what of a page stands still under it
	strip            *fyne.Container
	shown            Page // the page that main shows at this moment
	drawn            drawn
	rests            []string // the sources of the troubles that the page tells of
	beats            int
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
	if o.Page == "" {
		o.Page = PageLink
	}
	w := &Window{app: a, win: win, engine: e, opt: o, now: o.Now, page: o.Page,
		theme: &look.Theme{Shade: o.Taste.Shade, Factor: o.Taste.Factor, OpenGL: o.OpenGL}}
	w.commands = commands()
	if w.ownBar() {
		w.menu.bar = look.NewMenuBar("menus")
	} else {
		w.commands = slices.DeleteFunc(w.commands, func(c command) bool { return c.own })
	}
	w.ctx, w.stop = context.WithCancel(context.Background())
	w.door = &door{do: o.Do, draw: w.draw}
	a.Settings().SetTheme(w.theme)
	w.makeFields()
	w.rail, w.main, w.side = look.NewScroller(look.Gap(1)), look.NewScroller(look.Gap(1)), look.NewScroller(look.Gap(1))
	w.foot, w.strip = look.NewSlot(), look.Pad(0, 0, 0, 0, look.Gap(1))
	win.SetPadded(false)
	win.SetContent(w.frame())
	w.keys(win.Canvas())
	a.Settings().AddListener(func(fyne.Settings) { w.opt.Do(w.draw) })
	w.draw()
	w.watchAdapters()
	w.askOpenQuestions()
	w.askDueProof()
	w.readRecent()
	a.Lifecycle().SetOnExitedForeground(w.leftAlone)
	a.Lifecycle().SetOnEnteredForeground(func() { w.leaving.away = false })
	w.every(beatEvery, w.beat)
	win.SetOnDropped(func(_ fyne.Position, files []fyne.URI) { w.dropped(files) })
	if o.Place != "" {
		w.connect(o.Place)
	}
	return w
}

// End ends all work without waiting for it, and shows that another window is about to begin. Close is still to be called.
func (w *Window) End() {
	if w.menu.bar != nil {
		w.menu.bar.Shut()
	}
	w.stop()
	w.door.close()
	w.win.SetContent(look.Ground(look.Paper, look.Pad(60, 60, 60, 60, look.Stack(4, look.Title(T("keep.running")), look.Lead(T("keep.running.anew"))))))
}

// Close ends all work and the visit, and waits for both.
func (w *Window) Close() error {
	w.stop()
	w.door.close()
	w.work.Wait()
	_, err := w.live.log.end()
	return errors.Join(err, w.held.close())
}

// leftAlone notes that the owner works in another window.
func (w *Window) leftAlone() {
	w.leaving.away = true
	if w.menu.bar != nil {
		w.menu.bar.Forget()
	}
}

// Show turns to a page.
func (w *Window) Show(p Page) {
	if p == PageGate && w.page != PageGate {
		w.enterGate()
	}
	if w.page == PageLive && p != PageLive && p != PageChoose || w.page == PageChoose && w.pick.now != nil && w.pick.now.from == PageLive && p != PageChoose {
		w.leaveLive()
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
	case PageLive:
		w.enterLive()
	}
	if p != PageChoose {
		w.pick.now = nil
	}
	w.page = p
	w.draw()
	if p == PageRequest && w.req.field.Text == "" { // there is nothing to do here but to type
		w.win.Canvas().Focus(w.req.field)
	}
}

// backTo turns to a page as it was left.
func (w *Window) backTo(p Page) {
	w.page = p
	w.draw()
}

// Act runs f off the window's thread. What f returns runs on the thread afterwards; nil is nothing.
func (w *Window) act(f func(ctx context.Context) func()) { w.actIn(w.ctx, f) }

func (w *Window) actIn(ctx context.Context, f func(ctx context.Context) func()) {
	if w.ctx.Err() != nil {
		return
	}
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

// beatEvery is how often the window does what it does by itself. A value is shown no later than this after it has come. The
// whole window is painted for whatever changes in it, so all of it is done at once.
const beatEvery = 250 * time.Millisecond

// beat does what the window does by itself.
func (w *Window) beat() {
	if w.beats++; w.beats%int(time.Second/beatEvery) == 0 {
		w.tick()
	}
	w.followLive()
	w.overhear()
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
	case w.page == PageCodes && w.code.looking != nil, w.page == PageKeep && w.kept.running != nil, w.page == PageGate, changed:
		w.draw()
	case w.live.run != nil:
		w.drawStrip()
	}
}

// escape always keeps: it stops what only reads, and leaves the gate without sending.
func (w *Window) escape() {
	switch {
	case w.page == PageChoose:
		w.leaveChoice()
	case w.page == PageLeave:
		w.Show(w.leaving.from)
	case w.page == PageKeep && w.kept.task != taskNone:
		w.leaveTask()
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
	case w.page == PageLive:
		w.escapeLive()
	}
}

// draw builds all four zones from the state.
func (w *Window) draw() {
	if w.ctx.Err() != nil {
		return
	}
	w.watchWork()
	w.setMenu()
	w.rests = nil
	body, margin := w.pageContent() // first: the rail tells what the page finds
	if len(w.rests) > 0 {
		margin = look.Stack(10, margin, look.Fine(T("trouble.rests", "Sources", strings.Join(w.rests, "; "))))
	}
	w.drawn = w.drawing()
	w.rail.Set(w.railContent())
	foot, under := w.pageFoot(), float32(26)
	if w.foot.Set(foot); foot != nil {
		under = 12
	}
	if w.drawn.below {
		w.main.Set(look.Pad(26, besidePage, under, besidePage, look.Stack(24, body, look.Hair(), margin)))
		w.side.Set(look.Gap(1))
	} else {
		w.main.Set(look.Pad(26, besidePage, under, besidePage, body))
		w.side.Set(look.Pad(22, 20, 20, 20, margin))
	}
	w.settle()
	w.drawStrip()
	if w.shown != w.page {
		w.main.ToTop()
		w.side.ToTop()
		w.shown = w.page
	}
	w.unfocusGone()
}

// besidePage is the room on the left and on the right of a page.
const besidePage = 30

func (w *Window) drawStrip() {
	w.strip.Objects = []fyne.CanvasObject{w.stripContent()}
	w.strip.Refresh()
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
	case PageLive:
		body, margin = w.livePage()
	case PagePractice:
		body, margin = w.practicePage()
	case PageStart:
		body, margin = w.startPage()
	case PageKeep:
		body, margin = w.keepPage()
	case PageSettings:
		body, margin = w.settingsPage()
	case PageHelp:
		body, margin = w.helpPage()
	case PageLeave:
		body, margin = w.leavePage()
	case PageChoose:
		body, margin = w.choosePage()
	default:
		body, margin = w.linkPage()
	}
	return body, margin
}

// pageFoot is what of the page stands still under it, nil for nothing: the key of the gate is never out of sight.
func (w *Window) pageFoot() fyne.CanvasObject {
	switch {
	case w.page == PageGate && w.gateStands():
		return w.gateFoot()
	case w.page == PageChoose && w.pick.now != nil:
		return w.chooseFoot()
	}
	return nil
}

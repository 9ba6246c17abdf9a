package app

import (
	"context"
	"errors"
	"strings"
	"sync"
	"time"

	"readback/app/look"
	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/garage"
)

// linkState is the adapter: what was found, what is being opened, what is open.
type linkState struct {
	seen    diag.Seen // what is plugged in, and what has changed since the list before
	finding bool
	looked  bool // there has been a list
	findErr error
	health  *diag.Health // of the bus, where the adapter shows it
	judged  time.Time    // when the health was last asked for
	address *look.Field
	opening *opening
	openErr error
	tried   adapter.Place                 // of openErr
	climbed map[adapter.Step]adapter.Rung // of the newest link test
	testing bool                          // its last two steps are being taken
	testErr error                         // of those
	visit   Visit
	gone    error // why the adapter of the visit is not there any more
	supply  supplyState
	open    []garage.Entry // changes whose answer nobody knows
	logErr  error
	copied  string // the command that was copied last
}

// opening is an adapter that is being opened.
type opening struct {
	place adapter.Place
	stop  context.CancelFunc
	rungs map[adapter.Step]adapter.Rung // the steps of the link test so far
}

// held is the visit that is open. It is known from the moment it is open, so that closing the window closes it.
type held struct {
	mu    sync.Mutex
	visit Visit
}

func (h *held) set(v Visit) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.visit = v
}

// close closes the visit that is open, if there is one.
func (h *held) close() error {
	h.mu.Lock()
	v := h.visit
	h.visit = nil
	h.mu.Unlock()
	if v == nil {
		return nil
	}
	return v.Close()
}

func (w *Window) makeFields() {
	w.link.address = look.NewField("address", T("link.address.hint"), true, nil)
	w.link.address.OnSubmitted = func(string) { w.connectAddress() }
	w.makeSupplyField()
	w.makeCableFields()
	w.makeCodeParts()
	w.makeRequestFields()
	w.makeCardFields()
	w.makeNoteFields()
	w.makeGateFields()
	w.makeCarFields()
	w.makeLogFields()
	w.makeLessonParts()
	w.makeTalkParts()
	w.makeChooseParts()
	w.makeHeardParts()
	w.makeLiveParts()
	w.makeKeepFields()
}

// findAdapters looks what is plugged in.
func (w *Window) findAdapters() {
	if w.link.finding {
		return
	}
	w.link.finding = true
	w.act(func(ctx context.Context) func() {
		found, err := w.engine.Find(ctx)
		return func() {
			w.link.finding, w.link.findErr = false, err
			w.link.seen = diag.CompareAdapters(w.link.seen.Found, found)
			if !w.link.looked { // in the first list nothing is new
				w.link.seen.Appeared = nil
			}
			w.link.looked = true
		}
	})
}

// watchAdapters follows what is plugged in and out until the window is closed.
func (w *Window) watchAdapters() {
	if w.engine.Watch == nil {
		w.findAdapters()
		return
	}
	w.link.finding = true
	w.act(func(ctx context.Context) func() {
		for seen, err := range w.engine.Watch(ctx) {
			w.door.hand("adapters", func() { w.link.finding, w.link.looked, w.link.seen, w.link.findErr = false, true, seen, err })
		}
		return nil
	})
}

// askOpenQuestions reads from the logbook which changes have an unknown outcome.
func (w *Window) askOpenQuestions() {
	if w.engine.Log == nil {
		return
	}
	w.act(func(ctx context.Context) func() {
		open, err := w.engine.Log.Unknown(ctx)
		return func() { w.link.open, w.link.logErr = open, errors.Join(w.link.logErr, err) }
	})
}

// askDueProof reads from the logbook which readings after an erase are due.
func (w *Window) askDueProof() {
	if w.engine.Log == nil {
		return
	}
	now := w.now()
	w.act(func(ctx context.Context) func() {
		due, err := w.engine.Log.DueProof(ctx, now)
		return func() { w.logs.due, w.link.logErr = due, errors.Join(w.link.logErr, err) }
	})
}

// seenQuestion notes that the owner has read about a change of unknown outcome.
func (w *Window) seenQuestion(id int64) {
	w.act(func(ctx context.Context) func() {
		err := w.engine.Log.MarkSeen(ctx, id)
		open, e := w.engine.Log.Unknown(ctx)
		return func() { w.link.open, w.link.logErr = open, errors.Join(err, e) }
	})
}

// connectAddress connects to what was typed; a bare address means a network adapter.
func (w *Window) connectAddress() {
	text := strings.TrimSpace(w.link.address.Text)
	if text == "" {
		return
	}
	p := adapter.Place(text)
	if scheme, _, err := p.Split(); err != nil || strings.Contains(scheme, ".") {
		p = adapter.Place("tcp:" + text)
	}
	w.connect(p)
}

// connect opens the adapter at a place. A visit that is open is closed first.
func (w *Window) connect(p adapter.Place) {
	if w.link.opening != nil || w.busy() {
		return
	}
	gone := w.link.gone != nil
	w.forget()
	ctx, stop := context.WithCancel(w.ctx)
	o := &opening{place: p, stop: stop, rungs: map[adapter.Step]adapter.Rung{}}
	w.link.opening, w.link.openErr, w.link.tried = o, nil, p
	w.act(func(context.Context) func() {
		defer stop()
		if err := w.held.close(); err != nil && !gone { // what has gone can't be closed well
			return func() { w.link.opening, w.link.openErr = nil, err }
		}
		v, err := w.engine.Open(ctx, p, func(r adapter.Rung) {
			w.door.hand("", func() { o.rungs[r.Step] = r })
		})
		if err != nil {
			return func() { w.link.opening, w.link.openErr, w.link.climbed = nil, err, o.rungs }
		}
		w.held.set(v)
		if ctx.Err() != nil { // stopped, or the window was closed, while it opened
			err := errors.Join(ctx.Err(), w.held.close())
			return func() { w.link.opening, w.link.openErr = nil, err }
		}
		supply := w.firstSupply(ctx, v)
		return func() {
			w.link.opening, w.link.visit, w.link.climbed = nil, v, o.rungs
			w.awaitEnd(v)
			w.askHealth()
			supply()
			w.testLink()
			w.explainAgain()
		}
	})
	w.draw()
}

// awaitEnd notices that the adapter of a visit has gone.
func (w *Window) awaitEnd(v Visit) {
	w.act(func(ctx context.Context) func() {
		err := v.Wait(ctx)
		return func() {
			if w.link.visit == v && ctx.Err() == nil {
				w.link.gone, w.link.testing, w.link.health, w.link.supply.known = err, false, nil, false
			}
		}
	})
}

// testLink takes the last two steps of the link test, which ask the car. Nothing is asked by itself of a car that should
// not be read now.
func (w *Window) testLink() {
	l := &w.link
	if l.visit == nil || l.testing || l.gone != nil || w.busy() || l.supply.flat() {
		return
	}
	v, rungs := l.visit, l.climbed
	l.testing, l.testErr = true, nil
	w.act(func(ctx context.Context) func() {
		err := v.LinkTest(ctx, func(r adapter.Rung) { w.door.hand("", func() { rungs[r.Step] = r }) })
		supply := w.refreshSupply(ctx, v)
		return func() {
			if l.visit != v {
				return
			}
			l.testing, l.testErr = false, err
			supply()
			w.askHealth()
		}
	})
}

func (w *Window) stopOpening() {
	if o := w.link.opening; o != nil {
		o.stop()
	}
}

// disconnect ends the visit.
func (w *Window) disconnect() {
	if w.link.visit == nil || w.busy() {
		return
	}
	gone := w.link.gone != nil
	w.link.tried = w.link.visit.Place()
	w.forget()
	w.act(func(context.Context) func() {
		err := w.held.close()
		return func() {
			if !gone { // what has gone can't be closed well
				w.link.openErr = err
			}
		}
	})
	w.draw()
}

// forget drops all that belongs to the visit that ends.
func (w *Window) forget() {
	l := &w.link
	l.visit, l.health, l.gone, l.testing, l.testErr, l.copied = nil, nil, nil, false, nil, ""
	l.supply.forget()
	w.code.forget()
	w.forgetLive()
	w.pass.leave()
	w.back = backState{}
	w.cars.visits, w.cars.of = nil, 0
	w.card.cards, w.card.of, w.card.writing = nil, 0, false
	w.note.notes, w.note.writing = nil, ""
	w.explainAgain()
}

// busy tells whether a reading or a request is under way.
func (w *Window) busy() bool { return w.code.looking != nil || w.pass.sending != nil }

func (w *Window) practice() bool {
	return w.link.visit != nil && w.link.visit.Adapter().Practice
}

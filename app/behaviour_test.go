package app

import (
	"errors"
	"image/color"
	"slices"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
	"readback/diag"
	"readback/diag/explain"
	"readback/diag/garage"
	"readback/diag/gate"
)

// reads is all that can be read in a part of the window, in one line.
func reads(o fyne.CanvasObject) string {
	var all []string
	var walk func(fyne.CanvasObject)
	walk = func(o fyne.CanvasObject) {
		if !o.Visible() {
			return
		}
		switch x := o.(type) {
		case *canvas.Text:
			all = append(all, x.Text)
		case *fyne.Container:
			for _, c := range x.Objects {
				walk(c)
			}
		case *container.Scroll:
			walk(x.Content)
		case *container.ThemeOverride:
			walk(x.Content)
		case *look.Text:
			all = append(all, x.String())
		case *look.Figure: // a letter each
			all = append(all, x.String())
		case fyne.Widget:
			for _, c := range test.WidgetRenderer(x).Objects() {
				walk(c)
			}
		}
	}
	walk(o)
	return breaking(strings.Join(all, " "))
}

// breaking is a text in which a row may end at every space.
func breaking(s string) string { return strings.ReplaceAll(s, "\u00a0", " ") }

func (b *bench) page() string   { return reads(b.w.main.Object) + " " + reads(b.w.foot.Object) }
func (b *bench) margin() string { return reads(b.w.side.Object) }

func (b *bench) says(want ...string) {
	b.t.Helper()
	got := b.page()
	for _, s := range want {
		if !strings.Contains(got, breaking(s)) {
			b.t.Errorf("the page does not say %q; it says %q", s, got)
		}
	}
}

func (b *bench) saysNot(unwanted ...string) {
	b.t.Helper()
	got := b.page()
	for _, s := range unwanted {
		if strings.Contains(got, breaking(s)) {
			b.t.Errorf("the page says %q", s)
		}
	}
}

func (b *bench) has(id string) bool {
	return look.Find(b.w.main.Object, id) != nil || look.Find(b.w.foot.Object, id) != nil
}

func (b *bench) tap(id string) {
	b.t.Helper()
	f := look.Find(b.win.Canvas().Content(), id)
	if f == nil {
		b.t.Fatalf("nothing here is called %q", id)
	}
	f.(fyne.Tappable).Tapped(&fyne.PointEvent{})
}

func (b *bench) key(name fyne.KeyName) {
	b.t.Helper()
	if f := b.win.Canvas().Focused(); f != nil {
		f.TypedKey(&fyne.KeyEvent{Name: name})
		return
	}
	b.win.Canvas().OnTypedKey()(&fyne.KeyEvent{Name: name})
}

// TestLinkLeads: with nothing connected the window begins with the adapters, and no step is done.
func TestLinkLeads(t *testing.T) {
	b := newBench(t, setup{})
	b.until("found", func() bool { return len(b.w.link.seen.Found) == 3 })
	if b.w.page != PageLink {
		t.Errorf("it begins with %s", b.w.page)
	}
	b.says("USB serial adapter", "Practice car", "can't be used now")
	if b.has("connect can:can0") {
		t.Error("an adapter that is not ready has a button")
	}
	for _, p := range steps {
		if _, progress := b.w.standing(p); progress == look.Done {
			t.Errorf("%s is ticked", p)
		}
	}
	if strip := reads(b.w.strip); !strings.Contains(strip, "nothing") || !strings.Contains(strip, "No adapter yet") {
		t.Errorf("the strip says %q", strip)
	}
}

// TestPracticeIsMarked: on a practice car every page says so, on a real one none does.
func TestPracticeIsMarked(t *testing.T) {
	for _, practice := range []bool{true, false} {
		v := vanVisit()
		v.abilities.Practice = practice
		b := newBench(t, setup{visit: v})
		b.atGate()
		for _, p := range append([]Page{PageCar}, steps...) {
			b.w.Show(p)
			b.w.draw()
			if got := strings.Contains(b.page(), "PRACTICE"); got != practice {
				t.Errorf("practice %v: page %s is marked: %v", practice, p, got)
			}
		}
	}
}

// TestReading: the page shows the stage and the count, the record afterwards, and what is not known.
func TestReading(t *testing.T) {
	v := vanVisit()
	v.hold = make(chan struct{})
	b := newBench(t, setup{visit: v})
	b.connect()
	b.w.Show(PageCodes)
	b.tap("look")
	b.until("progress", func() bool { return b.w.code.looking.progress.Module == "Charging" })
	b.says("4 of 11", "3 modules have answered", "Last: Charging")
	if strip := reads(b.w.strip); !strings.Contains(strip, "busy") {
		t.Errorf("the strip says %q", strip)
	}
	close(v.hold)
	b.until("read", func() bool { return b.w.code.looking == nil })
	b.says("Seven codes in three modules", "Three are happening now. Four are only remembered.", "A workshop should see this before anything is cleared.",
		"Not known for 2 modules", "no answer", "it refused to give its list", "2 modules hold no code")
	if !strings.Contains(b.margin(), "P1D5A-13") || !strings.Contains(b.margin(), "41 198 km") || !strings.Contains(b.margin(), "13 37 00") {
		t.Errorf("the margin says %q", b.margin())
	}
}

// TestSilenceIsNotNoCodes: an empty list is called empty only when every module gave one.
func TestSilenceIsNotNoCodes(t *testing.T) {
	v := vanVisit()
	v.modules = []diag.ModuleView{module("Drive", 0x7E0, 0x7E8)}
	v.patterns = nil
	b := newBench(t, setup{visit: v})
	b.read()
	b.says("No codes", "empty")
	silent := module("Module 7E6", 0x7E6, 0x7EE)
	silent.Answered, silent.CodesRead = garage.Silent, garage.NotAsked
	v.modules, v.complete = append(v.modules, silent), false
	b.w.startLooking()
	b.until("read", func() bool { return b.w.code.looking == nil })
	b.says("That is not the same as no codes.")
}

// TestEscapeStopsReading: Escape ends a reading; what was read is kept and the page says that it is not complete.
func TestEscapeStopsReading(t *testing.T) {
	v := vanVisit()
	v.hold = make(chan struct{})
	b := newBench(t, setup{visit: v})
	b.connect()
	b.w.Show(PageCodes)
	b.w.startLooking()
	b.until("progress", func() bool { return b.w.code.looking.progress.Module != "" })
	b.key(fyne.KeyEscape)
	b.says("Stopping.")
	b.until("stopped", func() bool { return b.w.code.looking == nil })
	b.says("The reading was stopped", "Charging")
	if b.w.code.record.Complete {
		t.Error("the record claims to be complete")
	}
}

// TestRequestClasses: only a sound request that may be sent has a button, and a change leads to the gate.
func TestRequestClasses(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	for _, c := range []struct {
		text         string
		change       func(*explain.Explanation)
		gate, direct bool
	}{
		{clearText, nil, true, false},
		{"7E0 03 22 F1 90 55 55 55 55", nil, false, true},
		{"7E5 14 FF", nil, false, false},
		{clearText, func(e *explain.Explanation) { e.Class = explain.Workshop }, false, false},
		{clearText, func(e *explain.Explanation) { e.Class = explain.Never }, false, false},
		{clearText, func(e *explain.Explanation) {
			e.Findings = []explain.Finding{{Level: explain.Wrong, At: -1, Text: "x"}}
		}, false, false},
		{clearText, func(e *explain.Explanation) {
			e.Findings = []explain.Finding{{Level: explain.Doubt, At: -1, Text: "x"}}
		}, true, false},
		{clearText, func(e *explain.Explanation) { e.Direction = explain.Answer }, false, false},
		{"", nil, false, false},
	} {
		e := b.visit.explains[c.text]
		kept := e
		if c.change != nil {
			c.change(&e)
			b.visit.explains[c.text] = e
		}
		b.w.req.field.SetText("")
		b.write(c.text)
		if got := b.has("to-gate"); got != c.gate {
			t.Errorf("%q (%s): to the gate: %v", c.text, e.Class, got)
		}
		if got := b.has("send-look"); got != c.direct {
			t.Errorf("%q (%s): send this look: %v", c.text, e.Class, got)
		}
		b.w.Show(PageGate)
		if got := b.has("hold"); got != c.gate {
			t.Errorf("%q (%s): the gate has its key: %v", c.text, e.Class, got)
		}
		if c.change != nil {
			b.visit.explains[c.text] = kept
		}
	}
}

func TestLookGoesOnce(t *testing.T) {
	v := vanVisit()
	v.result = &diag.Result{Sent: true, Request: readNumber(), Outcome: garage.Accepted, SentAt: begin, Answers: []diag.Answer{{From: "7E8", Hex: "62F190", Text: "the number"}}}
	b := newBench(t, setup{visit: v})
	b.read()
	b.write("7E0 03 22 F1 90 55 55 55 55")
	b.tap("send-look")
	b.w.sendLook() // a second press while the first is under way
	b.until("answered", func() bool { return b.w.back.result != nil })
	if want := []string{"7E0#0322F19055555555"}; !slices.Equal(v.sent, want) {
		t.Errorf("sent %q, want %q", v.sent, want)
	}
	b.says("The module agreed.", "the number")
	b.saysNot("Before", "After")
}

// TestGate: the key stays shut while a latch is open; the owner's statements and the word close it; then it acts once.
func TestGate(t *testing.T) {
	b := newBench(t, setup{})
	b.atGate()
	b.says("The gate is closed: three latches are still open", "The key waits for: no charge, safety and say back.")
	b.w.sendChange()
	if len(b.visit.sent) != 0 || b.w.pass.sending != nil {
		t.Fatal("it was sent with open latches")
	}
	b.tap("latch not-charging")
	b.tap("latch safety")
	b.says("one latch is still open", "said by you")
	b.tap("latch safety")
	b.says("two latches are still open")
	b.tap("latch safety")
	b.w.pass.words.SetText("mapl")
	b.says("one latch is still open")
	b.w.pass.words.SetText("maple")
	b.says("All latches are in line", "Hold for 2 seconds to send once")
	b.w.sendChange()
	b.w.sendChange()
	b.until("sent", func() bool { return b.w.back.result != nil })
	if want := []string{"7E5#0414FFFFFF555555"}; !slices.Equal(b.visit.sent, want) {
		t.Errorf("sent %q, want %q", b.visit.sent, want)
	}
	if b.w.page != PageReadBack {
		t.Errorf("the page is %s", b.w.page)
	}
	b.says("The module agreed. One code is gone and one code is back", "Sent once at 14:09:00.", "7ED 03 7F 14 78 AA AA AA AA", "Charging: understood", "Gone")
}

// TestWithoutHolding: who can't hold a button ticks a box and presses another one; without the tick there is none.
func TestWithoutHolding(t *testing.T) {
	b := newBench(t, setup{})
	b.atGate()
	if b.has("alone") || b.has("send-once") {
		t.Error("the way around the held button is open while latches are")
	}
	b.lineUp()
	if b.has("send-once") {
		t.Error("it can be sent with one press")
	}
	b.tap("alone")
	b.tap("send-once")
	b.until("sent", func() bool { return b.w.back.result != nil })
	if len(b.visit.sent) != 1 {
		t.Errorf("sent %q", b.visit.sent)
	}
}

// TestOtherRequestForgetsTheWord: what was said back for one request does not count for another.
func TestOtherRequestForgetsTheWord(t *testing.T) {
	b := newBench(t, setup{})
	b.atGate()
	b.lineUp()
	b.write(clearText + " ")
	b.w.Show(PageGate)
	if b.visit.words != "" || b.w.pass.words.Text != "" {
		t.Errorf("the word %q is still said", b.visit.words)
	}
}

// TestEscapeLeavesTheGate: Escape goes back from the gate and sends nothing.
func TestEscapeLeavesTheGate(t *testing.T) {
	b := newBench(t, setup{})
	b.atGate()
	b.lineUp()
	b.win.Canvas().Focus(b.w.pass.hold)
	b.key(fyne.KeyEscape)
	if b.w.page != PageRequest || len(b.visit.sent) != 0 {
		t.Errorf("page %s, sent %q", b.w.page, b.visit.sent)
	}
}

// TestOutcomes: each outcome has words of its own, and silence is not called a refusal.
func TestOutcomes(t *testing.T) {
	for outcome, want := range map[garage.Outcome][]string{
		garage.Accepted: {"The module agreed."}, garage.Declined: {"The module refused."}, garage.NoAnswer: {"No answer came.", "Silence is neither yes nor no."},
		garage.Unknown: {"outcome unknown", "It is not repeated."},
	} {
		v := vanVisit()
		r := *clearResult()
		r.Outcome, r.ReadBack = outcome, nil
		if outcome == garage.NoAnswer || outcome == garage.Unknown {
			r.Answers = nil
		}
		v.result = &r
		b := newBench(t, setup{visit: v})
		b.atGate()
		b.lineUp()
		b.w.sendChange()
		b.until("sent", func() bool { return b.w.back.result != nil })
		b.says(want...)
	}
}

func TestHeldBack(t *testing.T) {
	v := vanVisit()
	v.result = &diag.Result{Request: clearCharging(), Outcome: garage.NeverSent, Reason: "A latch is not in line.", Refused: []gate.Latch{{Key: gate.SupplyGood, Title: "The 12 V supply is too weak", Value: "11.6 V"}}}
	b := newBench(t, setup{visit: v})
	b.atGate()
	b.lineUp()
	b.w.sendChange()
	b.until("held", func() bool { return b.w.back.result != nil })
	b.says("The gate held it back", "Nothing was sent.", "The 12 V supply is too weak", "11.6 V")
}

// TestOpenQuestion: a change of unknown outcome is told at the start until the owner says that it is known.
func TestOpenQuestion(t *testing.T) {
	log := &fakeLog{open: []garage.Entry{{ID: 7, Begun: begin, Request: "7E5#0414FFFFFF555555", Summary: "Asks the Charging module to forget its codes.", Place: "serial:/dev/ttyUSB0"}}}
	b := newBench(t, setup{log: log})
	b.until("asked", func() bool { return len(b.w.link.open) == 1 })
	b.says("its answer is not known", "7E5#0414FFFFFF555555", "never repeated by itself")
	b.tap("seen 7")
	b.until("seen", func() bool { return len(b.w.link.open) == 0 })
	b.saysNot("its answer is not known")
}

// TestKeyboardStays: a page that is built anew leaves the keyboard where it was.
func TestKeyboardStays(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	list := look.Find(b.w.main.Object, "codes")
	b.win.Canvas().Focus(list)
	b.w.draw()
	now, ok := b.win.Canvas().Focused().(look.Identified)
	if !ok || now != list {
		t.Errorf("the keyboard is at %v", b.win.Canvas().Focused())
	}
	for _, step := range []struct {
		key    fyne.KeyName
		chosen string
	}{{fyne.KeyEnd, "760 U0100-00"}, {fyne.KeyHome, "7E5 P1D5A-13"}, {fyne.KeyDown, "7E5 U0140-87"}, {fyne.KeyDown, "726 B1A14-15"}, {fyne.KeyUp, "7E5 U0140-87"}} {
		b.key(step.key)
		if b.w.code.chosen != step.chosen {
			t.Errorf("%s chooses %q, not %q", step.key, b.w.code.chosen, step.chosen)
		}
	}
	b.key(fyne.KeyEnd)
	b.key(fyne.KeyDown)
	if now, ok := b.win.Canvas().Focused().(look.Identified); !ok || now.ID() != "write" {
		t.Errorf("down at the end leads to %v", b.win.Canvas().Focused())
	}
}

// TestKeyboardReachesAll: Tab comes by every part of the page and by every step, the page first.
func TestKeyboardReachesAll(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	seen := []string{}
	for range 60 {
		b.win.Canvas().(interface{ FocusNext() }).FocusNext()
		f, ok := b.win.Canvas().Focused().(look.Identified)
		if !ok || len(seen) > 0 && f.ID() == seen[0] {
			break
		}
		seen = append(seen, f.ID())
	}
	want := []string{"codes", "write", "look", "car", "step link", "step read-back", "page help"}
	at := -1
	for _, id := range want {
		i := slices.Index(seen, id)
		if i <= at {
			t.Errorf("%q comes at %d after %d in %q", id, i, at, seen)
		}
		at = i
	}
}

func TestCarNotes(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.w.Show(PageCar)
	b.until("visits", func() bool { return len(b.w.cars.visits) > 0 })
	b.says("0TNCE23E3P0004217", "not complete")
	b.w.cars.name.SetText("Old Blue")
	b.w.cars.odometer.SetText("41 300 km")
	b.tap("keep-car")
	b.until("kept", func() bool { return b.w.cars.kept })
	if c := b.log.cars[1]; c.Name != "Old Blue" || c.Odometer != "41 300 km" || c.VIN == "" {
		t.Errorf("kept %+v", c)
	}
	if rail := reads(b.w.rail.Object); !strings.Contains(rail, "Old Blue") {
		t.Errorf("the rail says %q", rail)
	}
}

// TestGroundsFollowTheShade: what stays while pages come and go takes the new colours too, whether the owner or the
// system has changed them.
func TestGroundsFollowTheShade(t *testing.T) {
	b := newBench(t, setup{size: fyne.NewSize(1280, 820)})
	check := func(when string, palette map[fyne.ThemeColorName]color.NRGBA) {
		t.Helper()
		picture := b.win.Canvas().Capture()
		for what, at := range map[string]struct {
			x, y int
			want fyne.ThemeColorName
		}{"rail": {4, 770, look.Rail}, "page": {600, 770, look.Paper}, "margin": {1270, 770, look.Paper}, "strip": {640, 800, look.Plate}} {
			if got := color.NRGBAModel.Convert(picture.At(at.x, at.y)); got != palette[at.want] {
				t.Errorf("%s, %s: %v, want %v", when, what, got, palette[at.want])
			}
		}
	}
	check("light", look.Light)
	b.w.shade(look.ShadeDark)
	check("dark", look.Dark)
	b.w.shade(look.ShadeLight)
	check("light again", look.Light)
}

// TestMayClose: the window stays open while a request is on its way.
func TestMayClose(t *testing.T) {
	v := vanVisit()
	v.sendHold = make(chan struct{})
	v.sendSteps = v.sendSteps[:3]
	b := newBench(t, setup{visit: v})
	if !b.w.MayClose() {
		t.Error("an idle window may not be closed")
	}
	b.atGate()
	b.lineUp()
	b.w.sendChange()
	b.until("out", func() bool { return b.w.pass.sending.stage == diag.SendOut })
	if b.w.MayClose() {
		t.Error("the window may be closed while a request is on its way")
	}
	close(v.sendHold)
	b.until("sent", func() bool { return b.w.back.result != nil })
	if !b.w.MayClose() {
		t.Error("the window may not be closed after the answer")
	}
}

// TestDisconnect: the visit is closed, and nothing of it stays on the pages.
func TestDisconnect(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.w.Show(PageLink)
	b.tap("disconnect")
	b.until("closed", func() bool { b.visit.mu.Lock(); defer b.visit.mu.Unlock(); return b.visit.closed == 1 })
	b.w.Show(PageCodes)
	b.says("No codes without a link")
	if b.w.car().ID != 0 {
		t.Error("the car is still there")
	}
}

// TestTroubleIsTold: what the engine has to say at the start is on the first page.
func TestTroubleIsTold(t *testing.T) {
	b := newBench(t, setup{})
	b.w.engine.Trouble = errors.New("the logbook can't be opened")
	b.w.draw()
	b.says("NOTICE", "the logbook can't be opened")
}

// TestLargerText: the key for larger text is that of the plus sign, on keyboards that have it above the equals sign too.
func TestLargerText(t *testing.T) {
	b := newBench(t, setup{factor: 1})
	for _, held := range []fyne.KeyModifier{fyne.KeyModifierControl, fyne.KeyModifierControl | fyne.KeyModifierShift} {
		before := b.w.opt.Taste.Factor
		b.win.Canvas().(fyne.Shortcutable).TypedShortcut(&desktop.CustomShortcut{KeyName: fyne.KeyEqual, Modifier: held})
		if now := b.w.opt.Taste.Factor; now <= before {
			t.Errorf("held %v: from %v to %v", held, before, now)
		}
	}
}

// TestShortcutsFromAField: the keys that turn to a page work while a field has the keyboard too.
func TestShortcutsFromAField(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.write(clearText)
	b.win.Canvas().Focus(b.w.req.field)
	b.w.req.field.TypedShortcut(&desktop.CustomShortcut{KeyName: fyne.Key3, Modifier: fyne.KeyModifierControl})
	if b.w.page != PageCodes {
		t.Errorf("the page is %s", b.w.page)
	}
}

// TestPartsStay: a press that began before a redraw ends on the same part, which then does what it says now.
func TestPartsStay(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	for _, id := range []string{"write", "look", "codes", "step gate", "car", "page help"} {
		before := look.Find(b.win.Canvas().Content(), id)
		b.w.draw()
		if after := look.Find(b.win.Canvas().Content(), id); after == nil || after != before {
			t.Errorf("%s is another part after a redraw", id)
		}
	}
	b.atGate()
	say := look.Find(b.w.main.Object, "latch safety")
	b.w.tick()
	say.(fyne.Tappable).Tapped(nil)
	if !b.visit.said[gate.SafetyRead] {
		t.Error("a press that outlived a redraw was lost")
	}
}

// TestCloseEndsEverything: closing the window in the middle of a reading ends the reading and closes the visit once.
func TestCloseEndsEverything(t *testing.T) {
	v := vanVisit()
	v.hold = make(chan struct{})
	b := newBench(t, setup{visit: v})
	b.connect()
	b.w.startLooking()
	b.until("progress", func() bool { return b.w.code.looking.progress.Module != "" })
	if err := b.w.Close(); err != nil {
		t.Fatal(err)
	}
	if v.closed != 1 || v.looked != 1 {
		t.Errorf("closed %d times, %d readings ended", v.closed, v.looked)
	}
}

// TestManyUnchanged: many codes that the request did not touch are told in one row, few one by one.
func TestManyUnchanged(t *testing.T) {
	v := vanVisit()
	r := *clearResult()
	rb := *r.ReadBack
	for _, c := range []string{"U3003-16", "U0155-00", "C0040-1C"} {
		rb.Unchanged = append(slices.Clone(rb.Unchanged), diag.Fate{Module: "Brakes", Code: c, Text: "unchanged: Brakes was not asked"})
	}
	r.ReadBack = &rb
	v.result = &r
	b := newBench(t, setup{visit: v})
	b.atGate()
	b.lineUp()
	b.w.sendChange()
	b.until("sent", func() bool { return b.w.back.result != nil })
	b.says("4 more codes, in Body and Brakes", "4 codes are unchanged.")
	b.saysNot("C0040-1C")
}

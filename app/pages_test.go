package app

import (
	"io/fs"
	"slices"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/garage"
	"readback/diag/link"
)

// scenes are the states of the pages that have to fit, each reached as an owner reaches it.
var scenes = []struct {
	name  string
	setup setup
	reach func(b *bench)
}{
	{"cable", setup{}, func(b *bench) { b.w.Show(PageCable) }},
	{"cable-measured", setup{}, func(b *bench) {
		b.w.Show(PageCable)
		b.tap("cautions-read")
		b.measure(map[string]string{"cable:6-7": "0.3", "cable:14-2": "0,4 ohm", "cable:6-14": "open", "car:6-14": "60.4"})
	}},
	{"cable-trouble", setup{}, func(b *bench) {
		b.w.Show(PageCable)
		b.tap("cautions-read")
		b.tap("wired-b")
		b.measure(map[string]string{"cable:6-7": "OL", "cable:14-2": "OL", "cable:16-6": "0.2", "car:6-14": "12O"})
	}},
	{"cable-own", setup{}, func(b *bench) {
		b.w.Show(PageCable)
		b.tap("wired-own")
		for _, pin := range []struct {
			socket bool
			pin    int
		}{{true, 6}, {false, 2}, {true, 14}, {false, 7}, {true, 16}, {false, 3}, {true, 5}} {
			b.w.pickPin(pin.socket, pin.pin)
		}
		b.tap("cable-more")
	}},
	{"link", setup{}, func(b *bench) { b.until("found", func() bool { return len(b.w.link.seen.Found) > 0 }) }},
	{"link-opening", setup{rungs: []adapter.Rung{{Step: adapter.StepPort, State: adapter.RungHeld, Seen: "The port /dev/ttyUSB0 is open."}, {Step: adapter.StepAdapter, State: adapter.RungTrying, Seen: "Asking at 38,400 bit/s, the third of five speeds."}}, hold: true}, func(b *bench) {
		b.until("found", func() bool { return len(b.w.link.seen.Found) > 0 })
		b.w.connect("serial:/dev/ttyUSB0")
		b.until("told", func() bool { return len(b.w.link.opening.rungs) == 2 })
	}},
	{"link-changed", setup{}, func(b *bench) {
		b.until("found", func() bool { return len(b.w.link.seen.Found) > 0 })
		now := slices.Clone(b.w.link.seen.Found)
		now[0] = adapter.Found{Place: "serial:/dev/ttyUSB1", Also: []adapter.Place{"slcan:/dev/ttyUSB1"}, Name: "USB serial adapter", Note: "A serial port.", Ready: true}
		now[1].Fix = "sudo ip link set can0 up type can bitrate 500000"
		b.w.link.seen = diag.CompareAdapters(b.w.link.seen.Found, now)
		b.w.draw()
	}},
	{"link-graded", setup{visit: gradedVisit(), rungs: climbed()}, func(b *bench) { b.connect() }},
	{"link-failed", setup{openErr: &adapter.OpenError{Place: "serial:/dev/ttyUSB0", Step: adapter.StepAdapter, Cause: errNothing}}, func(b *bench) {
		b.until("found", func() bool { return len(b.w.link.seen.Found) > 0 })
		b.w.connect("serial:/dev/ttyUSB0")
		b.until("failed", func() bool { return b.w.link.openErr != nil })
	}},
	{"link-open-question", setup{log: &fakeLog{open: []garage.Entry{{ID: 3, Begun: begin, Request: "7E5#0414FFFFFF555555", Summary: "Asks the Charging module to forget its codes.", Place: "serial:/dev/ttyUSB0"}}}}, func(b *bench) {
		b.until("asked", func() bool { return len(b.w.link.open) > 0 && len(b.w.link.seen.Found) > 0 })
	}},
	{"link-open", setup{}, func(b *bench) { b.connect() }},
	{"link-rights", setup{openErr: endsAt(adapter.StepPort, &adapter.RightsError{Command: `sudo usermod -a -G dialout "$USER"`, Then: "Then log out and in again."})}, func(b *bench) {
		b.w.connect("serial:/dev/ttyUSB0")
		b.until("failed", func() bool { return b.w.link.openErr != nil })
	}},
	{"link-torn", setup{rungs: climbed()[:4]}, func(b *bench) {
		b.visit.rungs, b.visit.testErr = lastSteps(adapter.RungHeld, adapter.RungFailed, "A long answer did not arrive whole."), &link.TornError{}
		b.connect()
		b.until("tested", func() bool { return !b.w.link.testing })
	}},
	{"link-gone", setup{rungs: climbed()}, func(b *bench) {
		b.visit.pulled = make(chan error, 1)
		b.visit.pulled <- link.ErrGone
		b.connect()
		b.until("gone", func() bool { return b.w.link.gone != nil })
	}},
	{"link-supply", setup{rungs: climbed()}, func(b *bench) {
		b.visit.readings = []adapter.SupplyReading{}
		b.visit.shows(begin, 12.6, 11.9)
		b.w.engine.Log.(*fakeLog).offsets = map[string]float64{"practice:": -0.15}
		b.connect()
		b.w.link.supply.field.SetText("60 ohm")
		b.tap("supply-take")
	}},
	{"codes-flat", setup{}, func(b *bench) {
		b.visit.readings = []adapter.SupplyReading{}
		b.visit.shows(begin, 12.6, 11.2)
		b.connect()
		b.w.Show(PageCodes)
	}},
	{"codes-stopped", setup{visit: gradedVisit()}, func(b *bench) {
		b.connect()
		b.until("judged", func() bool { return b.w.stopped() != nil })
		b.w.Show(PageCodes)
	}},
	{"request-read-only", setup{}, func(b *bench) {
		b.visit.abilities.ReadOnly = "The adapter can't send a request exactly as shown."
		b.read()
		b.write(clearText)
	}},
	{"gate-read-only", setup{}, func(b *bench) {
		b.visit.abilities.ReadOnly = "The adapter can't send a request exactly as shown."
		b.read()
		b.write(clearText)
		b.w.Show(PageGate)
	}},
	{"codes-empty", setup{}, func(b *bench) { b.w.Show(PageCodes) }},
	{"codes-start", setup{}, func(b *bench) { b.connect(); b.w.Show(PageCodes) }},
	{"codes-reading", setup{}, func(b *bench) {
		b.visit.hold = make(chan struct{})
		b.connect()
		b.w.Show(PageCodes)
		b.w.startLooking()
		b.until("module", func() bool { return b.w.code.looking.progress.Module != "" })
	}},
	{"codes", setup{}, func(b *bench) { b.read() }},
	{"request-empty", setup{}, func(b *bench) { b.read(); b.w.Show(PageRequest) }},
	{"request", setup{}, func(b *bench) {
		b.read()
		b.write(clearText)
		b.w.req.other.SetText("7E5 04 14 FF FF FE 55 55 55")
		b.w.req.span = 2
		b.w.draw()
	}},
	{"request-post", setup{}, func(b *bench) { b.read(); b.writeReal(post); b.w.req.span = 2; b.w.draw() }},
	{"request-write", setup{}, func(b *bench) { b.read(); b.writeReal("7E5 05 2E 01 23 00 01 55 55") }},
	{"request-routine", setup{}, func(b *bench) { b.read(); b.writeReal("7E5 04 31 01 02 03 55 55 55") }},
	{"request-flash", setup{}, func(b *bench) { b.read(); b.writeReal("7E0 02 10 02 55 55 55 55 55") }},
	{"request-answer", setup{}, func(b *bench) { b.read(); b.writeReal("7ED 03 7F 14 22 AA AA AA AA") }},
	{"request-decimal", setup{}, func(b *bench) { b.read(); b.writeReal("2015 02 01 00") }},
	{"request-29", setup{}, func(b *bench) { b.read(); b.writeReal("18 DA 10 F1 03 22 F1 90 55 55 55 55") }},
	{"request-uncounted", setup{}, func(b *bench) { b.read(); b.writeReal("7E5 14 FF FF FF 55 55 55") }},
	{"request-other", setup{}, func(b *bench) { b.read(); b.writeReal("123 11 22 33 44 55 66 77 88") }},
	{"request-garbage", setup{}, func(b *bench) { b.read(); b.writeReal("the quick brown fox jumps over the lazy dog") }},
	{"request-wrong", setup{}, func(b *bench) { b.read(); b.write("7E5 14 FF") }},
	{"gate", setup{}, func(b *bench) { b.atGate() }},
	{"gate-open", setup{}, func(b *bench) { b.atGate(); b.lineUp() }},
	{"gate-sending", setup{}, func(b *bench) {
		b.visit.sendHold = make(chan struct{})
		b.atGate()
		b.lineUp()
		b.w.sendChange()
		b.until("reading", func() bool { return b.w.pass.sending != nil && b.w.pass.sending.reading != nil })
	}},
	{"read-back", setup{}, func(b *bench) {
		b.atGate()
		b.lineUp()
		b.w.sendChange()
		b.until("sent", func() bool { return b.w.back.result != nil })
	}},
	{"read-back-past", setup{log: keptLog()}, func(b *bench) {
		b.w.engine.Preview = previewed
		b.atGate()
		b.lineUp()
		b.w.sendChange()
		b.until("sent", func() bool { return b.w.back.result != nil })
		b.until("past", func() bool { return b.w.logs.book.car.ID != 0 })
	}},
	{"read-back-empty", setup{}, func(b *bench) { b.w.Show(PageReadBack) }},
	{"logbook", setup{log: keptLog()}, func(b *bench) { b.logbook() }},
	{"logbook-report", setup{log: keptLog()}, func(b *bench) {
		b.logbook()
		b.w.logs.report.shared = true
		b.tap("report 8")
		b.until("preview", func() bool { return len(b.w.logs.report.preview.Removed) == 2 })
	}},
	{"request-cards", setup{log: &fakeLog{cards: []garage.Card{{ID: 1, Title: "Make the charging module forget its codes", Module: "Charging", Request: "7E5#0414FFFFFF555555", Words: "maple orbit thirteen", Who: "a workshop", Where: "the owners' meeting"}}}}, func(b *bench) {
		b.visit.explains["7E5#0414FFFFFF555555"] = clearCharging()
		b.read()
		b.w.Show(PageRequest)
		b.until("cards", func() bool { return len(b.w.card.cards) == 1 })
	}},
	{"request-card", setup{}, func(b *bench) { b.read(); b.write(clearText); b.tap("card-new") }},
	{"codes-note", setup{}, func(b *bench) { b.read(); b.tap("note-new") }},
	{"codes-crowded", setup{visit: crowdedVisit(100)}, func(b *bench) { b.read() }},
	{"start", setup{}, func(b *bench) { b.w.Show(PageStart) }},
	{"start-known", setup{log: keptLog()}, func(b *bench) {
		b.until("cars", func() bool { return len(b.w.menu.recent) > 0 })
		b.w.Show(PageStart)
	}},
	{"settings", setup{}, func(b *bench) {
		b.w.opt.Logbook, b.w.opt.Taste.Folders.Reports = "/home/somebody/.config/readback/readback.db", "/home/somebody/Documents/papers of the van/reports"
		b.w.Show(PageSettings)
	}},
	{"settings-visit", setup{}, func(b *bench) { b.connect(); b.w.opt.LogbookFixed = true; b.w.Show(PageSettings) }},
	{"records", setup{}, func(b *bench) { b.w.Show(PageKeep) }},
	{"records-back-up", setup{}, func(b *bench) {
		b.w.opt.Home = "/home/somebody"
		b.w.keepTask(taskBackUp)
		b.w.kept.err = fs.ErrExist
		b.w.draw()
	}},
	{"records-restore", setup{}, func(b *bench) {
		b.w.keepTask(taskRestore)
		b.w.kept.contents = &garage.Contents{Whole: true, Made: begin.Add(-300 * time.Hour), Recordings: 12}
		b.w.draw()
	}},
	{"records-restore-visit", setup{}, func(b *bench) { b.connect(); b.w.keepTask(taskRestore) }},
	{"records-export", setup{log: keptLog()}, func(b *bench) {
		b.w.keepTask(taskExport)
		b.until("cars", func() bool { return len(b.w.kept.cars) > 0 })
	}},
	{"records-import", setup{}, func(b *bench) {
		b.w.keepTask(taskImport)
		b.w.kept.contents = &garage.Contents{Made: begin.Add(-300 * time.Hour), Recordings: 12, Car: "Blue Tarn van", Visits: 9}
		b.w.draw()
	}},
	{"records-running", setup{}, func(b *bench) {
		b.w.keepTask(taskBackUp)
		r := &keeping{stop: func() {}, file: "/home/somebody/Documents/papers of the van/readback-2026-11-25.zip", begun: begin.Add(-7 * time.Second)}
		r.bytes.Store(12_345_678)
		b.w.kept.running = r
		b.w.draw()
	}},
	{"logbook-empty", setup{}, func(b *bench) { b.w.Show(PageLogbook) }},
	{"records-rescue", setup{}, func(b *bench) { b.w.keepTask(taskRescue) }},
	{"records-done", setup{}, func(b *bench) {
		b.w.keepTask(taskRestore)
		b.w.kept.done = restoredLines(garage.Restored{KeptAs: "/home/somebody/.config/readback/readback-replaced-20261125-140200.db", Cars: 3, Visits: 41, Altered: []int64{4}, Recordings: 12, Missing: []string{"a", "b"}})
		b.w.draw()
	}},
	{"help-first", setup{}, func(b *bench) { b.w.showHelp(topicFirst) }},
	{"help-steps", setup{}, func(b *bench) { b.w.showHelp(topicSteps) }},
	{"help-cautions", setup{}, func(b *bench) { b.w.showHelp(topicCautions) }},
	{"help-words", setup{}, func(b *bench) { b.w.showHelp(topicWords) }},
	{"help-keys", setup{}, func(b *bench) { b.w.showHelp(topicKeys) }},
	{"help-about", setup{}, func(b *bench) {
		b.w.showHelp(topicAbout)
		b.tap("licence fyne.io/fyne/v2")
	}},
	{"choose-open", setup{}, func(b *bench) { b.choosing(&choice{kinds: []string{recordingFile}}) }},
	{"choose-save", setup{}, func(b *bench) {
		b.w.pick.name.SetText("readings-2026-11-25-1402.csv")
		b.choosing(&choice{save: true, kinds: []string{".csv"}})
	}},
	{"choose-exists", setup{}, func(b *bench) {
		b.w.pick.name.SetText("visit.pcapng")
		b.choosing(&choice{save: true, kinds: []string{recordingFile}, exists: "visit.pcapng"})
	}},
	{"choose-folder", setup{}, func(b *bench) { b.choosing(&choice{folder: true, err: fs.ErrPermission}) }},
	{"leave", setup{}, func(b *bench) { b.connect(); b.w.Show(PageLeave) }},
	{"car", setup{}, func(b *bench) {
		b.read()
		b.w.Show(PageCar)
		b.until("visits", func() bool { return len(b.w.cars.visits) > 0 })
	}},
}

// choosing shows a choice in a folder that is the same on every computer.
func (b *bench) choosing(c *choice) {
	c.dir, c.from = "/home/somebody/Documents/papers of the van", PageLink
	if c.err == nil {
		c.entries = []chosenEntry{{name: "older recordings, kept because nobody knows what for", folder: true},
			{name: "visit.pcapng", size: 1_234_567, at: begin.Add(-50 * time.Hour)}, {name: "a very long name of a recording of the whole day on the road to the coast and back.pcapng", size: 87_654_321, at: begin}}
	}
	p := &b.w.pick
	p.now, p.column = c, &chooseColumn{entries: c.entries, now: begin}
	p.places = []folderPlace{{"Home", "/home/somebody"}, {"Documents", "/home/somebody/Documents"}, {"BACK-UP", "/media/somebody/BACK-UP"}}
	p.path.SetText(c.dir)
	b.w.Show(PageChoose)
}

func (b *bench) lineUp() {
	for _, l := range b.visit.latches {
		if l.CanSay {
			b.visit.Say(l.Key)
		}
	}
	b.w.pass.words.SetText("maple")
}

// fits checks that no text is cut: not by its own box, not by the width of the window, its zone or its scroll.
func fits(t *testing.T, win fyne.Window) {
	t.Helper()
	if seen := fitsIn(t, win.Canvas().Content(), win.Canvas().Size()); seen < 20 {
		t.Errorf("only %d texts were found: the walk does not reach the page", seen)
	}
}

// fitsIn checks a tree that fills a size, and counts its texts.
func fitsIn(t *testing.T, tree fyne.CanvasObject, size fyne.Size) (seen int) {
	t.Helper()
	var walk func(o fyne.CanvasObject, at fyne.Position, left, right, low float32)
	walk = func(o fyne.CanvasObject, at fyne.Position, left, right, low float32) {
		if !o.Visible() {
			return
		}
		at = at.Add(o.Position())
		if x, ok := o.(*canvas.Text); ok && x.Text != "" {
			seen++
			if x.FontSource == nil {
				t.Errorf("%q leaves its font to the theme, which reads three more for it", x.Text)
			}
			min := x.MinSize()
			if x.Size().Width+0.6 < min.Width || x.Size().Height+0.6 < min.Height {
				t.Errorf("%q needs %v and has %v", x.Text, min, x.Size())
			}
			if at.X < left-0.6 || at.X+min.Width > right+0.6 {
				t.Errorf("%q reaches from %.1f to %.1f, its room from %.1f to %.1f", x.Text, at.X, at.X+min.Width, left, right)
			}
			if bottom := at.Y + min.Height; bottom > low+1.5 {
				t.Errorf("%q ends at %.1f, its room at %.1f", x.Text, bottom, low)
			}
		}
		if w := o.Size().Width; w > 0 {
			left, right, low = max(left, at.X), min(right, at.X+w), min(low, at.Y+o.Size().Height)
		}
		switch x := o.(type) {
		case *fyne.Container:
			for _, c := range x.Objects {
				walk(c, at, left, right, low)
			}
		case *container.Scroll:
			walk(x.Content, at.SubtractXY(x.Offset.X, x.Offset.Y), left, right, 1e6)
		case *look.Field:
			// A field scrolls what is typed in it.
		case *container.ThemeOverride:
			walk(x.Content, at, left, right, low)
		case fyne.Widget:
			for _, c := range test.WidgetRenderer(x).Objects() {
				walk(c, at, left, right, low)
			}
		}
	}
	walk(tree, fyne.Position{}, 0, size.Width, size.Height)
	return seen
}

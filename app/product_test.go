package app

import (
	"context"
	"io"
	"slices"
	"strings"
	"testing"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/garage"
	"readback/diag/quantity"
)

func (l *fakeLog) BackUp(_ context.Context, w io.Writer) (garage.BackedUp, error) {
	_, err := io.WriteString(w, "a back-up")
	return garage.BackedUp{Cars: 2, Visits: 9, Recordings: 3, Missing: []string{"a.pcapng"}}, err
}

func (l *fakeLog) ExportCar(_ context.Context, car int64, w io.Writer) (garage.Exported, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.exported = append(l.exported, car)
	_, err := io.WriteString(w, "a car")
	return garage.Exported{Visits: 4, Recordings: 1}, err
}

func (l *fakeLog) ImportCar(_ context.Context, r io.ReaderAt, size int64) (garage.Imported, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.imported = append(l.imported, size)
	return garage.Imported{Car: garage.Car{ID: 9, Name: "Red Tarn"}, Joined: true, Visits: 2, Already: 5}, nil
}

// TestTaste: what is chosen takes effect at once and is told to be kept.
func TestTaste(t *testing.T) {
	b := newBench(t, setup{})
	var kept []Taste
	b.w.opt.Keep = func(t Taste) { kept = append(kept, t) }
	b.w.Show(PageSettings)
	b.tap("taste.dark")
	b.tap("size 6")
	b.tap("size 0")
	b.tap("way mi")
	b.tap("temperature °F")
	b.tap("pressure bar")
	b.tap("pressure kPa")
	want := []Taste{{Shade: look.ShadeDark}, {Factor: 2}, {Factor: 0.8}, {}, {}, {}, {}}
	for i, units := range []quantity.Choice{{}, {}, {}, {Way: "mi"}, {Way: "mi", Temperature: "°F"}, {Way: "mi", Temperature: "°F", Pressure: "bar"}, {Way: "mi", Temperature: "°F", Pressure: "kPa"}} {
		want[i].Shade, want[i].Units = look.ShadeDark, units
		if i > 2 {
			want[i].Factor = 0.8
		}
	}
	if !slices.Equal(kept, want) {
		t.Errorf("kept %v, want %v", kept, want)
	}
	if b.w.theme.Shade != look.ShadeDark || b.w.theme.Factor != 0.8 {
		t.Errorf("the theme is %+v", b.w.theme)
	}
}

// TestTextSizeByKey: the keys go through all sizes, stop at both ends, and one command leads back to the ordinary one.
func TestTextSizeByKey(t *testing.T) {
	b := newBench(t, setup{})
	for range len(look.Factors) {
		b.w.resizeText(1)
	}
	if b.w.theme.Factor != 2 {
		t.Errorf("the largest is %v", b.w.theme.Factor)
	}
	for range len(look.Factors) {
		b.w.resizeText(-1)
	}
	if b.w.theme.Factor != 0.8 {
		t.Errorf("the smallest is %v", b.w.theme.Factor)
	}
	b.w.resizeText(0)
	if b.w.theme.Factor != 1 {
		t.Errorf("the ordinary one is %v", b.w.theme.Factor)
	}
	b.w.opt.Taste.Factor = 0
	b.w.resizeText(1)
	if b.w.theme.Factor != look.Factors[look.OrdinaryFactor+1] {
		t.Errorf("one up from a size that was never chosen is %v", b.w.theme.Factor)
	}
}

// TestStart: the first page has four doors, each reached by Tab, and each leads where it says.
func TestStart(t *testing.T) {
	b := newBench(t, setup{})
	for id, want := range map[string]Page{"door cable": PageCable, "door look": PageLink, "door request": PageRequest, "door practice": PagePractice} {
		b.w.Show(PageStart)
		b.says("Check the cable", "Look at the car", "Understand a request", "Practise", "Your first visit")
		if !slices.Contains(b.tabs(), id) {
			t.Errorf("Tab does not come by %q", id)
		}
		b.win.Canvas().Focus(look.Find(b.win.Canvas().Content(), id))
		b.key(fyne.KeyReturn)
		if b.w.page != want {
			t.Errorf("%s leads to %s", id, b.w.page)
		}
	}
	known := newBench(t, setup{log: keptLog()})
	known.until("cars", func() bool { return len(known.w.menu.recent) > 0 })
	known.w.Show(PageStart)
	known.says("Cars that you know already", "Blue Tarn van")
	known.saysNot("Your first visit")
	known.tap("met 1")
	known.until("book", func() bool { return known.w.logs.book.car.ID == 1 })
	if known.w.page != PageLogbook {
		t.Errorf("a car leads to %s", known.w.page)
	}
}

// tabs are the names of all parts that Tab comes by, once round.
func (b *bench) tabs() []string {
	b.win.Canvas().Unfocus()
	var seen []string
	for range 2000 {
		b.win.Canvas().(interface{ FocusNext() }).FocusNext()
		f, ok := b.win.Canvas().Focused().(look.Identified)
		if !ok || len(seen) > 0 && f.ID() == seen[0] {
			break
		}
		seen = append(seen, f.ID())
	}
	return seen
}

// TestCommands: each key is used once, each command has a text, each menu has something in it, and the list of
// shortcuts names every key that works.
func TestCommands(t *testing.T) {
	b := newBench(t, setup{})
	b.w.showHelp(topicKeys)
	page := b.page()
	known := messages(t, "en")
	keys, filled := map[string]string{}, map[string]int{}
	for _, c := range commands() {
		if known[c.text] == nil {
			t.Errorf("%s is not in the catalogue", c.text)
		}
		if c.menu != "" && !slices.Contains(menus, c.menu) {
			t.Errorf("%s is in no menu that there is: %s", c.text, c.menu)
		}
		filled[c.menu]++
		if c.key == "" {
			continue
		}
		if was := keys[c.keyText()]; was != "" {
			t.Errorf("%s is %s and %s", c.keyText(), was, c.text)
		}
		keys[c.keyText()] = c.text
		if !strings.Contains(page, c.keyText()) || !strings.Contains(page, T(c.text)) {
			t.Errorf("the list of shortcuts misses %s, %s", c.keyText(), T(c.text))
		}
	}
	for _, m := range menus {
		if filled[m] == 0 {
			t.Errorf("%s is empty", m)
		}
	}
	for key, want := range map[string]string{"Ctrl+1": "step.cable", "Ctrl+6": "step.read-back", "Ctrl+0": "cmd.car", "Ctrl+L": "beside.logbook", "Ctrl+Shift+O": "cmd.signals", "F1": "cmd.keys", "F10": "cmd.menus", "Esc": "cmd.keep", "Ctrl+Plus": "cmd.larger"} {
		if keys[key] != want {
			t.Errorf("%s is %q, want %q", key, keys[key], want)
		}
	}
}

// TestFunctionKeysFromAField: F1 lists the shortcuts, while a field has the keyboard too.
func TestFunctionKeysFromAField(t *testing.T) {
	b := newBench(t, setup{})
	b.win.Canvas().Focus(b.w.link.address)
	b.key(fyne.KeyF1)
	if b.w.page != PageHelp || b.w.help.topic != topicKeys {
		t.Errorf("F1 leads to %s, %s", b.w.page, b.w.help.topic)
	}
}

// TestHelp: every topic is there whole, and every licence can be read.
func TestHelp(t *testing.T) {
	b := newBench(t, setup{})
	known := messages(t, "en")
	for _, x := range topics {
		b.w.showHelp(x.topic)
		if got := reads(b.w.main.Object); strings.Contains(got, "help.") {
			t.Errorf("%s shows a key: %s", x.topic, got)
		}
		n := 0
		for k := range known {
			rest, ok := strings.CutPrefix(k, "help."+string(x.topic)+".")
			if ok && strings.HasSuffix(rest, ".text") {
				n++
			}
		}
		if x.texts > 0 && n != x.texts {
			t.Errorf("%s shows %d texts, the catalogue has %d", x.topic, x.texts, n)
		}
	}
	b.says("Version")
	if len(b.w.help.licences) < 20 {
		t.Errorf("only %d licences", len(b.w.help.licences))
	}
	for i, l := range b.w.help.licences {
		b.tap("licence " + l.Name)
		if b.w.help.licence != i+1 {
			t.Errorf("%s shows licence %d", l.Name, b.w.help.licence)
		}
		if i%10 == 0 && !strings.Contains(b.margin(), strings.Fields(l.Text)[0]) {
			t.Errorf("the text of %s is not shown", l.Name)
		}
	}
}

// TestLiveUnits: a value that is watched is shown in the units that were chosen, from the moment that they were chosen; a
// signal keeps the unit of its definition file. 88.4 km/h are 54.9 mph (NIST SP 811, B.8: 1 mi/h is 1.609344 km/h).
func TestLiveUnits(t *testing.T) {
	b := newBench(t, setup{})
	speed := diag.LiveValue{Key: diag.LiveKey{Kind: diag.LiveParameter, Number: 0x0D}, Name: "Vehicle speed", Parts: []diag.LivePart{{Unit: "km/h"}}}
	b.w.toggleLive(itemOf(speed, b.w.opt.Taste.Units))
	sample := diag.Sample{Key: speed.Key, At: begin, State: garage.Yes, Number: true, Value: 88.4, Unit: "km/h"}
	shown := func() (string, string) {
		b.w.takeSample(sample)
		line := b.w.live.chosen[0].lines[0]
		return line.value, line.unit
	}
	if value, unit := shown(); value != "88" || unit != "km/h" {
		t.Errorf("as it comes: %q in %q", value, unit)
	}
	before := b.w.live.chosen[0].lines[0].style
	b.w.Show(PageSettings)
	b.tap("way mi")
	if value, unit := shown(); value != "55" || unit != "mph" {
		t.Errorf("in miles: %q in %q", value, unit)
	}
	if b.w.live.chosen[0].lines[0].style != before {
		t.Error("its line is drawn in another way")
	}
	if i := itemOf(speed, b.w.opt.Taste.Units); !slices.Equal(i.units, []string{"mph"}) {
		t.Errorf("the list says %q", i.units)
	}
	if len(b.w.live.chosen[0].lines) != 1 {
		t.Errorf("it has %d lines", len(b.w.live.chosen[0].lines))
	}
}

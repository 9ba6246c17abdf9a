package app

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"iter"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2"

	"readback/diag"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/link"
)

func (f *fakeVisit) Meet(context.Context, string) (bool, error) { return false, nil }

func (f *fakeVisit) AddIdentifier(id uint16) error {
	defer f.lock()()
	if len(f.added) >= 2 {
		return diag.ErrManyIdentifiers
	}
	f.added = append(f.added, id)
	return nil
}

func (f *fakeVisit) Offered(ctx context.Context) ([]diag.LiveValue, error) {
	if f.offerHold != nil {
		select {
		case <-f.offerHold:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	defer f.lock()()
	out := slices.Clone(f.offers)
	for _, id := range f.added {
		if slices.Contains(f.tells, id) {
			out = append(out, diag.LiveValue{Key: diag.LiveKey{Kind: diag.LiveIdentifier, Address: asked(0x7E5), Number: id}, Name: fmt.Sprintf("Identifier %04X", id), Module: "Charging", Source: "added by you: its bytes are shown"})
		}
	}
	return out, f.offerErr
}

func (f *fakeVisit) Watch(ctx context.Context, keys []diag.LiveKey) iter.Seq2[diag.Sample, error] {
	return func(yield func(diag.Sample, error) bool) {
		unlock := f.lock()
		f.watched = append(f.watched, keys)
		f.watching++
		unlock()
		defer func() { defer f.lock()(); f.watching-- }()
		for {
			select {
			case s, open := <-f.feed:
				if !open {
					yield(diag.Sample{}, f.feedErr)
					return
				}
				if !yield(s, nil) {
					return
				}
			case <-ctx.Done():
				yield(diag.Sample{}, ctx.Err())
				return
			}
		}
	}
}

func asked(id uint32) link.Address { return link.Physical(link.ID11(id), link.ID11(id+8)) }

func parameter(id uint32, n uint16, name, module string, parts ...diag.LivePart) diag.LiveValue {
	return diag.LiveValue{Key: diag.LiveKey{Kind: diag.LiveParameter, Address: asked(id), Number: n}, Name: name, Module: module, Parts: parts, Source: "SAE J1979"}
}

// liveVisit offers some values, as the running practice car does.
func liveVisit() *fakeVisit {
	v := vanVisit()
	v.feed = make(chan diag.Sample, 4096)
	v.tells = []uint16{0xDD01}
	v.offers = []diag.LiveValue{
		parameter(0x7E0, 0x03, "Fuel system", "Engine or drive"),
		parameter(0x7E0, 0x05, "Coolant temperature", "Engine or drive", diag.LivePart{Unit: "°C"}),
		parameter(0x7E0, 0x0C, "Motor speed", "Engine or drive", diag.LivePart{Unit: "1/min"}),
		parameter(0x7E0, 0x0D, "Vehicle speed", "Engine or drive", diag.LivePart{Unit: "km/h"}),
		parameter(0x7E0, 0x0E, "Ignition timing before top dead centre", "Engine or drive", diag.LivePart{Unit: "°", Digits: 1}),
		parameter(0x7E0, 0x11, "Throttle position", "Engine or drive", diag.LivePart{Unit: "%", Digits: 1}),
		parameter(0x7E0, 0x14, "Oxygen sensor 1", "Engine or drive", diag.LivePart{Label: "voltage", Unit: "V", Digits: 3}, diag.LivePart{Label: "short-term trim", Unit: "%", Digits: 1}),
		parameter(0x7E0, 0x2F, "Fuel level", "Engine or drive", diag.LivePart{Unit: "%", Digits: 1}),
		parameter(0x7E0, 0x44, "Air to fuel as commanded, 1 is balanced", "Engine or drive", diag.LivePart{Digits: 3}),
		parameter(0x7E1, 0x0D, "Vehicle speed", "Gearbox", diag.LivePart{Unit: "km/h"}),
		{Key: diag.LiveKey{Kind: diag.LiveSupply}, Name: "12 V supply at the socket", Parts: []diag.LivePart{{Unit: "V", Digits: 1}}, Source: "measured by the adapter, may be off by 0.5 V"},
	}
	return v
}

// live opens the page and waits until it is known what the car offers.
func (b *bench) live() {
	b.t.Helper()
	b.connect()
	b.w.Show(PageLive)
	b.until("offered", func() bool { return b.w.live.asking == nil })
}

// choose chooses the values with these keys.
func (b *bench) choose(keys ...string) {
	b.t.Helper()
	for _, k := range keys {
		i := slices.IndexFunc(b.w.live.column.items, func(i liveItem) bool { return i.key == k })
		if i < 0 {
			b.t.Fatalf("%s is not in the list", k)
		}
		b.w.toggleLive(b.w.live.column.items[i])
	}
}

// number is a reading of a value, so long after the beginning.
func (v *fakeVisit) number(key string, after time.Duration, value float64) diag.Sample {
	i := slices.IndexFunc(v.offers, func(o diag.LiveValue) bool { return o.Key.String() == key })
	o := v.offers[i]
	s := diag.Sample{Key: o.Key, Name: o.Name, At: begin.Add(after), State: garage.Yes, Number: true, Value: value, Raw: garage.Hex{1}, Rate: 12.5}
	if len(o.Parts) > 0 {
		s.Label, s.Unit, s.Digits = o.Parts[0].Label, o.Parts[0].Unit, o.Parts[0].Digits
	}
	return s
}

// tell feeds readings and waits until the page has taken the last of them.
func (b *bench) tell(samples ...diag.Sample) {
	b.t.Helper()
	for _, s := range samples {
		b.visit.feed <- s
	}
	last := samples[len(samples)-1]
	b.until("taken", func() bool {
		s := b.w.live.chosenLive(last.Key.String())
		return s != nil && s.last.Equal(last.At) && len(b.visit.feed) == 0
	})
	b.w.showFigures()
}

// rides are 40 seconds of readings of a drive.
func (b *bench) rides(keys ...string) {
	b.t.Helper()
	var all []diag.Sample
	for i := range 400 {
		d := time.Duration(i) * 100 * time.Millisecond
		x := d.Seconds()
		for k, key := range keys {
			v := map[string]float64{"7E0:0C": 1500 + 700*math.Sin(x/3) + 40*math.Sin(x*9), "7E0:0D": 40 + 25*math.Sin(x/3-0.6), "7E1:0D": 39 + 25*math.Sin(x/3-0.8), "7E0:05": 88 + x/20,
				"supply": 14.1 + 0.2*math.Sin(x), "7E0:11": 18 + 9*math.Sin(x/3+0.4), "7E0:2F": 47, "7E0:44": 1 + 0.03*math.Sin(x*4), "7E0:0E": 12 + 5*math.Sin(x/2)}[key]
			all = append(all, b.visit.number(key, d+time.Duration(k)*time.Millisecond, v))
		}
	}
	b.tell(all...)
}

// TestLiveChoose: what the car offers is found by words, chosen by a tap or by Return, and no more than can be told apart.
func TestLiveChoose(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.w.Show(PageLive)
	b.says("Live values need a car")
	b.live()
	b.says("This car offers 11 values", "Motor speed", "PRACTICE", "1/min")
	b.w.live.search.SetText("rpm")
	if n := b.w.live.column.Len(); n != 1 || b.w.live.column.items[0].key != "7E0:0C" {
		t.Fatalf("rpm finds %d", n)
	}
	b.win.Canvas().Focus(b.w.live.list)
	b.key(fyne.KeyDown)
	if m := b.margin(); !strings.Contains(m, "asked for it again and again, as 7E0:0C") || !strings.Contains(m, "SAE J1979") {
		t.Errorf("the margin says %q", m)
	}
	if len(b.w.live.chosen) != 0 {
		t.Error("the arrow keys choose")
	}
	b.key(fyne.KeyReturn)
	b.says("Show 1 value", "chosen")
	b.w.live.list.Tapped(&fyne.PointEvent{Position: fyne.NewPos(20, 10)})
	if len(b.w.live.chosen) != 0 {
		t.Error("a tap does not take it out")
	}
	b.w.live.search.SetText("no such")
	b.says("No value has these words")
	b.w.live.search.SetText("")
	b.choose("7E0:05", "7E0:0C", "7E0:0D", "7E0:14", "7E0:11", "7E0:2F", "7E0:44")
	b.saysNot("No more than")
	b.choose("7E1:0D")
	b.says("No more than 8 lines")
	var styles []int
	for _, s := range b.w.live.chosen {
		for _, x := range s.lines {
			styles = append(styles, x.style)
		}
	}
	if !slices.Equal(styles, []int{0, 1, 2, 3, 4, 5, 6, 7}) {
		t.Errorf("the styles are %v", styles)
	}
	b.choose("7E0:0C", "7E1:0D")
	if x := b.w.live.chosenLive("7E1:0D"); x == nil || x.lines[0].style != 1 {
		t.Errorf("the free style is not used: %+v", x)
	}
	b.tap("live-none")
	b.saysNot("Show ")
}

// TestLiveReads: what is read stands beside the lines with its unit and its rate; silence and words are no numbers.
func TestLiveReads(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.live()
	b.choose("7E0:0C", "supply", "7E0:03")
	b.tap("live-show")
	b.says("3 values are read", "not yet")
	fuel := b.visit.number("7E0:03", 90*time.Millisecond, 0)
	fuel.Number, fuel.Text = false, "closed loop, by the oxygen sensor"
	b.tell(fuel, b.visit.number("7E0:0C", 0, 850), b.visit.number("supply", 100*time.Millisecond, 14.15))
	b.says("850 1/min", "14.2 V", "12.5", "37.5", "newest", "closed loop")
	if s := reads(b.w.strip); !strings.Contains(s, "reading values") {
		t.Errorf("the strip says %q", s)
	}
	if m := b.margin(); !strings.Contains(m, "closed loop, by the oxygen sensor") {
		t.Errorf("the margin says %q", m)
	}
	silent := b.visit.number("7E0:0C", 200*time.Millisecond, 0)
	silent.State, silent.Number, silent.Text, silent.Rate = garage.Silent, false, "no answer", 0
	b.tell(silent)
	b.says("no answer", "25.0")
	b.saysNot("850 1/min")
	b.tell(b.visit.number("7E0:0C", 1500*time.Millisecond, 900))
	p := b.w.live.plot
	for d, want := range map[time.Duration]string{0: "850 1/min", time.Second: "not told", 1500 * time.Millisecond: "900 1/min"} {
		p.Point(begin.Add(d))
		b.says(want, "at 14:02:0")
	}
	p.Point(time.Time{})
	b.says("newest")
}

// TestLivePauseAndZoom: the picture stands still and reading goes on; buttons and keys do the same.
func TestLivePauseAndZoom(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.live()
	b.choose("7E0:0C", "7E0:0D")
	b.tap("live-show")
	b.rides("7E0:0C", "7E0:0D")
	b.says("30 seconds are shown, up to the newest reading.")
	b.tap("live-hold")
	b.says("The picture stands still at 14:02:39; reading goes on.")
	b.tell(b.visit.number("7E0:0C", time.Minute, 777))
	b.says("777 1/min", "stands still at 14:02:39")
	b.tap("live-closer")
	b.says("20 seconds are shown")
	b.tap("live-earlier")
	b.says("stands still at 14:02:29")
	b.win.Canvas().Focus(b.w.live.plot)
	b.key(fyne.KeySpace)
	b.says("20 seconds are shown, up to the newest reading.")
	b.w.live.plot.TypedRune('-')
	b.says("30 seconds are shown")
	for range 20 {
		b.tap("live-wider")
	}
	b.says("2 hours are shown")
	for range 20 {
		b.tap("live-closer")
	}
	b.says("5 seconds are shown")
}

// TestLiveFreesTheWire: reading ends when the page is left, and the page says so.
func TestLiveFreesTheWire(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.live()
	b.choose("7E0:0C")
	b.tap("live-show")
	b.tell(b.visit.number("7E0:0C", 0, 850))
	b.w.Show(PageCodes)
	b.until("free", func() bool { defer b.visit.lock()(); return b.visit.watching == 0 })
	b.w.startLooking()
	b.w.Show(PageLive)
	b.says("The car is being read")
	b.until("read", func() bool { return b.w.code.looking == nil })
	b.says("Reading ended when you left this page", "1 value is chosen", "850 1/min")
	b.tap("live-start")
	b.says("1 value is read")
	b.tell(b.visit.number("7E0:0C", time.Minute, 900))
	b.w.escape()
	b.says("What was read stays here")
	b.until("free", func() bool { defer b.visit.lock()(); return b.visit.watching == 0 })
	b.tap("live-choose")
	b.w.escape()
	b.says("1 value is chosen")
	b.w.Show(PageLink)
	b.w.disconnect()
	b.w.Show(PageLive)
	b.says("Live values need a car")
	if b.w.live.chosen != nil {
		t.Error("what was chosen of a car stays for the next one")
	}
}

// TestLiveAsks: asking can be ended, and what goes wrong is told.
func TestLiveAsks(t *testing.T) {
	v := liveVisit()
	v.offerHold = make(chan struct{})
	b := newBench(t, setup{visit: v})
	b.connect()
	b.w.Show(PageLive)
	b.says("Asking the car what it tells")
	b.w.escape()
	b.says("What does this car tell?")
	b.tap("live-ask")
	b.tap("live-cancel")
	b.says("What does this car tell?")
	v.offerErr = link.ErrGone
	close(v.offerHold)
	b.tap("live-ask")
	b.until("failed", func() bool { return b.w.live.askErr != nil })
	b.says("could not be read", "The adapter has gone")
	v.offerErr, v.offers = nil, nil
	b.tap("live-ask")
	b.until("asked", func() bool { return b.w.live.asked })
	b.says("This car offers no values", "A value of your own")
}

// TestLiveAdapterPulled: when the adapter has gone, the page says so and keeps what was read.
func TestLiveAdapterPulled(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.live()
	b.choose("7E0:0C")
	b.tap("live-show")
	b.tell(b.visit.number("7E0:0C", 0, 850))
	b.visit.feedErr = link.ErrGone
	close(b.visit.feed)
	b.until("broken", func() bool { return b.w.live.run == nil })
	b.says("Reading has ended by itself", "The adapter has gone", "850 1/min")
}

// TestLiveOwnValue: an identifier that the owner adds is asked for.
func TestLiveOwnValue(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.live()
	for text, want := range map[string]string{"": "four digits", "DD0": "four digits", "wxyz": "four digits", "DD010": "four digits"} {
		b.w.live.add.SetText(text)
		b.tap("live-add")
		b.says(want)
	}
	add := func(text string) {
		b.w.live.add.SetText(text)
		b.w.live.add.OnSubmitted(text)
		b.until("added", func() bool { return b.w.live.asking == nil })
	}
	add("DD02")
	b.says("No module tells DD02")
	add("22 dd 01")
	b.says("DD01 is told by Charging", "Identifier DD01")
	if !slices.Equal(b.visit.added, []uint16{0xDD02, 0xDD01}) {
		t.Errorf("added %X", b.visit.added)
	}
	add("DD03")
	b.says("No more than 32 values of your own", "Identifier DD01")
}

// TestLiveSaves: every reading goes into the file while the page goes on, in the form of the engine's log.
func TestLiveSaves(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.live()
	b.choose("7E0:0C", "7E0:0D")
	b.tap("live-show")
	b.tell(b.visit.number("7E0:0C", 0, 1)) // before it is saved
	file := &closing{}
	b.w.beginLog("drive.csv", file)
	b.w.draw()
	b.says("Readings are saved in drive.csv")
	b.rides("7E0:0C", "7E0:0D")
	b.says("800")
	b.w.live.choosing = true
	b.w.draw()
	b.choose("7E0:0D") // what is chosen changes, saving goes on
	b.tap("live-show")
	b.tell(b.visit.number("7E0:0C", time.Minute, 900))
	b.tap("live-save-end")
	b.says("801 readings are in drive.csv.")
	lines, err := csv.NewReader(&file.Buffer).ReadAll()
	if err != nil || len(lines) != 802 || !file.closed {
		t.Fatalf("%d lines, closed %v: %v", len(lines), file.closed, err)
	}
	if first, last := strings.Join(lines[0], " "), strings.Join(lines[801][1:], " "); first != "time name value unit" || last != "Motor speed 900 1/min" {
		t.Errorf("%q, %q", first, last)
	}

	full := &closing{after: 100, err: &os.PathError{Op: "write", Path: "drive2.csv", Err: errors.New("no space left on device")}}
	b.w.beginLog("drive2.csv", full)
	b.tell(b.visit.number("7E0:0C", 61*time.Second, 901), b.visit.number("7E0:0C", 62*time.Second, 902), b.visit.number("7E0:0C", 63*time.Second, 903), b.visit.number("7E0:0C", 64*time.Second, 904))
	b.until("told", func() bool { return b.w.live.saving == "" })
	b.says("can't be written (no space left on device)", "Reading goes on", "904 1/min")
	if !full.closed {
		t.Error("a file that can't be written stays open")
	}

	left := &closing{}
	b.w.beginLog("drive3.csv", left)
	b.w.Show(PageLink)
	b.w.Show(PageLive)
	b.says("0 readings are in drive3.csv")
	if !left.closed {
		t.Error("the file stays open when the page is left")
	}
}

// closing is a file in memory. It takes only so many bytes where after is set.
type closing struct {
	bytes.Buffer
	closed bool
	after  int
	err    error
}

func (c *closing) Write(b []byte) (int, error) {
	if c.after > 0 && c.Len()+len(b) > c.after {
		return 0, c.err
	}
	return c.Buffer.Write(b)
}

func (c *closing) Close() error { c.closed = true; return nil }

// TestLiveSignals: signals of a definition file are drawn from what is heard; nothing is asked for them.
func TestLiveSignals(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.visit.wire = spoken().entries
	b.live()
	b.until("heard", func() bool { return b.w.said.live != nil && b.w.said.live.table.Len() > 0 })
	b.w.readSignals(definitionFile(t))
	b.until("read", func() bool { return b.w.ear.signals != nil })
	b.w.live.search.SetText("drive speed")
	b.says("Drive, identifier 100, heard on the bus", "van.dbc")
	b.w.live.search.SetText("drive")
	b.choose("heard 100 Speed", "heard 100 State")
	b.tap("live-show")
	w := &wire{at: begin.Add(time.Minute), entries: b.visit.wire}
	for i := range byte(20) {
		w.say(bus.In, 0x100, 0x10, i, 0, 0, 0, 0, 0, 0)
	}
	unlock := b.visit.lock()
	b.visit.wire = w.entries
	unlock()
	b.until("taken", func() bool { return b.w.live.chosen[0].lines[0].value == "0.19" })
	b.says("0.19 km/h", "16 Ready", "1000") // every millisecond
	if !strings.Contains(b.margin(), "16 Ready") {
		t.Errorf("the margin says %q", b.margin())
	}
	b.visit.lock()()
	if len(b.visit.watched) != 0 {
		t.Errorf("the car was asked for %v", b.visit.watched)
	}
}

// TestLiveIsBounded: readings that come faster than the window takes them wait in a queue of bounded length.
func TestLiveIsBounded(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.live()
	b.choose("7E0:0C")
	b.tap("live-show")
	x := b.visit.number("7E0:0C", 0, 850)
	go func() {
		for i := range 10000 {
			x.At = x.At.Add(time.Millisecond)
			x.Value = float64(i)
			b.visit.feed <- x
		}
	}()
	b.until("taken", func() bool {
		if n := len(b.w.live.run.samples); n > liveQueue {
			t.Fatalf("%d wait", n)
		}
		return b.w.live.chosen[0].lines[0].value == "9999"
	})
}

// liveScenes are the states of the page that have to fit.
var liveScenes = []struct {
	name  string
	setup setup
	reach func(b *bench)
}{
	{"live-empty", setup{}, func(b *bench) { b.w.Show(PageLive) }},
	{"live-choose", setup{visit: liveVisit()}, func(b *bench) {
		b.live()
		b.choose("7E0:0C", "7E0:0D", "supply")
		b.w.live.at = "7E0:0C"
		b.w.draw()
	}},
	{"live-none", setup{}, func(b *bench) { b.live() }},
	{"live-three", setup{visit: liveVisit()}, func(b *bench) {
		b.live()
		b.choose("7E0:0C", "7E0:0D", "supply")
		b.tap("live-show")
		b.rides("7E0:0C", "7E0:0D", "supply")
		b.w.live.plot.Point(begin.Add(25 * time.Second))
	}},
	{"live-eight", setup{visit: liveVisit()}, func(b *bench) {
		keys := []string{"7E0:0C", "7E0:0D", "7E1:0D", "7E0:05", "supply", "7E0:11", "7E0:44", "7E0:0E"}
		b.live()
		b.choose(keys...)
		b.tap("live-show")
		b.w.beginLog("readings 2026-11-25-1402.csv", &closing{})
		b.rides(keys...)
		b.tap("live-hold")
	}},
	{"live-broken", setup{visit: liveVisit()}, func(b *bench) {
		b.live()
		b.choose("7E0:05", "7E0:03")
		b.tap("live-show")
		b.rides("7E0:05")
		b.visit.feedErr = link.ErrGone
		close(b.visit.feed)
		b.until("broken", func() bool { return b.w.live.run == nil })
	}},
}

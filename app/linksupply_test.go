package app

import (
	"strings"
	"testing"
	"time"

	"readback/diag/adapter"
	"readback/diag/garage"
)

// voltmeter is a visit whose adapter measures by itself; it showed these volts, ten seconds apart, the last one at begin.
func voltmeter(volts ...float64) *fakeVisit {
	v := vanVisit()
	v.readings = []adapter.SupplyReading{}
	v.shows(begin, volts...)
	return v
}

func (b *bench) strip() string { return reads(b.w.strip) }

// TestOwnMeter: what the owner's own meter shows corrects the adapter's, is kept for the adapter and with the car, and is
// in force at the next visit.
func TestOwnMeter(t *testing.T) {
	log := &fakeLog{}
	b := newBench(t, setup{visit: voltmeter(12.1), log: log})
	b.connect()
	b.says("The adapter measures 12.1\u00a0V at the socket.", "What does your own meter show")
	if s := b.strip(); !strings.Contains(s, "12.1 V by the adapter") {
		t.Errorf("the strip says %q", s)
	}
	field := b.w.link.supply.field
	for text, want := range map[string]string{
		"":        "nothing is typed",
		"12,4 4":  "there are two numbers",
		"60 ohm":  "this is no voltage",
		"open":    "this is no voltage",
		"9.0 V":   "too far",
		"14.2":    "too far",
		"12v4 no": "not a number",
	} {
		field.SetText(text)
		b.tap("supply-take")
		b.says(want)
	}
	if len(log.offsets) > 0 || b.visit.offset != 0 {
		t.Errorf("kept %v, set %g", log.offsets, b.visit.offset)
	}
	for text, want := range map[string]float64{"12,4": 0.3, "12.4 V": 0.3, " 12400 mV": 0.3, "11.95 volts": -0.15} {
		field.SetText(text)
		b.tap("supply-take")
		b.until("kept", func() bool { return b.w.link.supply.offset == want })
		if log.offsets["practice:"] != want || b.visit.offset != want || field.Text != "" {
			t.Errorf("%q: kept %v, set %g, the field says %q", text, log.offsets, b.visit.offset, field.Text)
		}
		b.w.forgetOffset()
		b.until("forgotten", func() bool { return b.w.link.supply.offset == 0 })
	}
	field.SetText("12,4")
	field.OnSubmitted("")
	b.until("kept", func() bool { return b.w.link.supply.offset != 0 })
	b.says("12.4\u00a0V: the adapter shows 12.1\u00a0V, and your own meter says +0.30\u00a0V to that.")
	if s := b.strip(); !strings.Contains(s, "12.4 V (adapter 12.1, your meter +0.30)") {
		t.Errorf("the strip says %q", s)
	}
	if len(log.meter) > 0 {
		t.Errorf("kept with no car: %v", log.meter)
	}
	b.w.Show(PageCodes)
	b.w.startLooking()
	b.until("read", func() bool { return b.w.code.looking == nil })
	b.until("kept with the car", func() bool { m, _ := log.Meter(t.Context(), 1); return len(m) == 1 })
	if m := log.meter[0]; m.Spot != "car:post" || m.Value != "12.40 V" || m.At.IsZero() {
		t.Errorf("kept %+v", m)
	}

	again := newBench(t, setup{visit: voltmeter(12.2), log: log.again()})
	again.connect()
	again.says("12.5\u00a0V: the adapter shows 12.2\u00a0V")
	again.tap("supply-forget")
	again.until("forgotten", func() bool { return again.w.link.supply.offset == 0 })
	again.says("The adapter measures 12.2\u00a0V at the socket.", "The adapter counts as it shows.")
}

// TestNoOwnMeter: a voltmeter that can't be corrected asks for nothing.
func TestNoOwnMeter(t *testing.T) {
	b := newBench(t, setup{})
	b.connect()
	b.says("The adapter measures 12.7\u00a0V")
	if b.has("supply-take") {
		t.Error("it asks for the owner's meter")
	}
}

// TestSupplyIsWatched: what the adapter measures by itself shows without asking the car; a supply that is low, or that
// sags, is told before the car is read and while it is.
func TestSupplyIsWatched(t *testing.T) {
	v := voltmeter(12.6)
	b := newBench(t, setup{visit: v})
	b.connect()
	b.w.Show(PageCodes)
	b.saysNot("12\u00a0V")
	at := begin.Add(3 * time.Second)
	b.w.now = func() time.Time { return at }
	watch := func(volts ...float64) {
		at = at.Add(supplyEvery)
		v.shows(at, volts...)
		b.w.tick()
		b.w.draw()
	}
	watch(12.5)
	if s := b.strip(); !strings.Contains(s, "12.5") {
		t.Errorf("the strip says %q", s)
	}
	b.saysNot("not steady")
	watch(12.05)
	b.says("NOTICE", "The 12 V battery is low.", "The 12\u00a0V supply is not steady. It fell from 12.6 V to 12.1 V")
	v.hold = make(chan struct{})
	b.w.startLooking()
	b.until("progress", func() bool { return b.w.code.looking.progress.Module != "" })
	watch(11.4)
	b.says("WARNING", "The 12 V battery is flat", "It was down at 11.4 V")
	close(v.hold)
	b.until("read", func() bool { return b.w.code.looking == nil })
	b.says("WARNING", "The 12 V battery is flat")
}

// TestFlatBatteryIsNotAsked: with a flat battery the link test asks nothing by itself, and reading is not the button that
// stands out.
func TestFlatBatteryIsNotAsked(t *testing.T) {
	v := voltmeter(11.2)
	b := newBench(t, setup{visit: v})
	b.connect()
	b.says("WARNING", "Charge it before you read the car")
	if v.tests != 0 || b.has("test-link") {
		t.Errorf("tested %d times", v.tests)
	}
	b.w.Show(PageCodes)
	b.says("WARNING", "Charge it before you read the car", "Read all the same, once")
	b.tap("look")
	b.until("read", func() bool { return b.w.code.looking == nil && v.looked == 1 })
}

// TestOffsetOfAnotherAdapter: what is kept for one adapter does not count for another.
func TestOffsetOfAnotherAdapter(t *testing.T) {
	b := newBench(t, setup{visit: voltmeter(12.1), log: &fakeLog{offsets: map[string]float64{"serial:/dev/ttyUSB0": 0.4}, meter: []garage.MeterReading{}}})
	b.connect()
	b.says("The adapter measures 12.1\u00a0V at the socket.")
}

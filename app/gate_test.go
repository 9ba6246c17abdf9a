package app

import (
	"strings"
	"testing"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/gate"
)

// TestGateWaitsForTheFirstMeasurement: while the car is measured for the first time, no latch says that it can't be
// measured, and nobody is asked to say what may be known in a moment. Afterwards what is still not known can be said.
func TestGateWaitsForTheFirstMeasurement(t *testing.T) {
	v := vanVisit()
	v.latches[0] = gate.Latch{Key: gate.Standing, Title: "The car is standing still", Value: "not known", Why: "this can't be measured now: look, then say so", Source: gate.Nothing, CanSay: true}
	b := newBench(t, setup{visit: v})
	b.read()
	b.write(clearText)
	b.w.Show(PageGate)
	b.says("the car is being measured", "The car is standing still being measured now", "Closed: measuring", "I have read it")
	b.saysNot("can't be measured", "not known", "It stands still", "latches are open")
	if b.has("latch standing") || !b.has("latch safety") {
		t.Error("what is being measured can be said, or what is not measured can't")
	}
	b.until("measured", func() bool { return !b.w.pass.measuring })
	b.says("can't be measured now", "Closed: 4 latches are open")
	b.saysNot("being measured", "not known")
	b.tap("latch standing")
	b.says("said by you")
	b.w.pass.measured = b.w.pass.measured.Add(-remeasureEvery)
	b.w.remeasure()
	b.w.draw()
	b.saysNot("being measured") // what is known stays while it is measured again
	b.until("measured again", func() bool { return !b.w.pass.measuring })
}

// TestNarrowGate: in the least window the words of a latch keep their room beside a button; what was measured stays.
func TestNarrowGate(t *testing.T) {
	v := vanVisit()
	for i := range v.latches {
		if l := &v.latches[i]; l.CanSay {
			l.Value = "1 code"
		}
	}
	v.latches[2] = gate.Latch{Key: gate.SupplyGood, Title: "The 12 V supply is strong enough", Value: "14.1 V", Why: "something feeds it", Source: gate.Measured, At: begin, CanSay: true}
	for language, volts := range map[string]string{"en": "14.1 V", "de": "14,1 V"} {
		b := newBench(t, setup{visit: v, language: language, size: fyne.NewSize(1024, 700)})
		b.atGate()
		for _, l := range b.w.pass.latches {
			row := b.w.latchRow(l)
			row.Resize(fyne.NewSize(486, look.HeightFor(row, 486)))
			if high := row.Size().Height; high > 100 {
				t.Errorf("%s: the row of %s is %.0f high", language, l.Key, high)
			}
			if text := reads(row); l.Key == gate.SupplyGood && !strings.Contains(text, volts) {
				t.Errorf("%s: what was measured is left out: %s", language, text)
			}
		}
	}
}

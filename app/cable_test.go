package app

import (
	"strings"
	"testing"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/garage"
)

// measure types meter readings.
func (b *bench) measure(values map[string]string) {
	for spot, text := range values {
		b.w.cable.fields[spot].SetText(text)
	}
}

func TestCablePage(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.w.Show(PageCable)
	b.says("CAUTION", "Never plug a CAN cable into a serial", "CAN high: 6 to 7", "CAN low: 14 to 2", "measure it, or skip")
	b.tap("cautions-read")
	b.saysNot("Never plug a CAN cable")
	if !strings.Contains(b.margin(), "Never plug a CAN cable") {
		t.Error("the cautions are gone")
	}
	b.measure(map[string]string{"cable:6-7": "0.3", "car:6-14": "60,4", "adapter:2-7": "119.8"})
	b.says("Joined, as it should be.", "Both line ends are in place.", "The adapter's end resistor is on.", "this value hides a missing one")
	b.tap("cable-keep")
	b.until("kept", func() bool { return len(b.w.cable.kept) == 3 })
	b.says("3 readings are kept with this car.")
	if m := b.log.meter; len(m) != 3 || m[0].Spot != "cable:6-7" || m[0].Value != "0.3 Ω" || m[0].At.IsZero() {
		t.Errorf("%+v", m)
	}
	b.measure(map[string]string{"car:6-14": "6O.4"})
	b.says("this is not a number")
}

// TestCableKept: what was measured on this car before stands in the fields.
func TestCableKept(t *testing.T) {
	b := newBench(t, setup{log: &fakeLog{meter: []garage.MeterReading{{Spot: "car:6-14", Value: "60.4 Ω", At: begin}}}})
	b.read()
	b.w.Show(PageCable)
	b.until("taken over", func() bool { return b.w.cable.fields["car:6-14"].Text != "" })
	b.says("Both line ends are in place.")
	if s, _ := b.w.cableStanding(); s != "60.4 Ω, wired right" {
		t.Errorf("the rail says %q", s)
	}
}

// TestOwnCable: pins are joined with the keyboard, and what is wrong with that is said.
func TestOwnCable(t *testing.T) {
	b := newBench(t, setup{})
	b.w.Show(PageCable)
	b.tap("wired-own")
	b.says("CAN high: pin 6 goes nowhere.")
	plugs := look.Find(b.w.main.Object, "plugs")
	b.win.Canvas().Focus(plugs)
	press := func(n int, k fyne.KeyName) {
		for range n {
			b.key(k)
		}
	}
	press(5, fyne.KeyRight) // pin 6
	b.key(fyne.KeySpace)
	b.key(fyne.KeyEnd) // pin 1 of the plug
	press(6, fyne.KeyRight)
	b.key(fyne.KeySpace)
	if b.w.cable.own[6] != 7 {
		t.Fatalf("the cable is %v", b.w.cable.own)
	}
	b.says("CAN high: 6 to 7")
	b.w.pickPin(true, 16)
	b.w.pickPin(false, 2)
	b.says("Battery plus goes to pin 2 (CAN low). Do not plug it in.")
	b.w.pickPin(true, 16)
	b.saysNot("Battery plus goes")
}

// TestMeasuredBeforeTheCar: what is measured before anybody knows which car it is, is kept with the car once it has been
// read, once; what stands there says when it was measured.
func TestMeasuredBeforeTheCar(t *testing.T) {
	log := &fakeLog{meter: []garage.MeterReading{{Spot: "adapter:2-7", Value: "119.8 Ω", At: begin.AddDate(0, 0, -3)}}}
	b := newBench(t, setup{log: log})
	b.w.Show(PageCable)
	b.measure(map[string]string{"car:6-14": "60,4 / 60.8", "cable:6-7": "O.3"})
	b.says("as soon as it has been read")
	b.read()
	b.until("kept", func() bool { return b.w.cable.said != "" })
	if m, _ := log.Meter(t.Context(), 1); len(m) != 2 || m[1].Spot != "car:6-14" || m[1].Value != "60.6 Ω" {
		t.Fatalf("kept %+v", m)
	}
	b.w.Show(PageCable)
	b.says("The adapter's end resistor is on.", "measured 22 November, 14:02", "measured today 14:02")
	if b.has("cable-keep") {
		t.Error("what is kept can be kept again")
	}
	b.w.startLooking()
	b.until("read again", func() bool { return b.w.code.looking == nil })
	if m, _ := log.Meter(t.Context(), 1); len(m) != 2 {
		t.Errorf("kept twice: %+v", m)
	}
}

// TestCableOfAnotherCar: what was measured on one car does not stand there for another.
func TestCableOfAnotherCar(t *testing.T) {
	c := &newBench(t, setup{}).w.cable
	c.take(1, []garage.MeterReading{{Spot: "car:6-14", Value: "60.4 Ω"}, {Spot: "cable:6-7", Value: "0.3 Ω"}}, nil)
	c.fields["adapter:2-7"].SetText("119.8")
	c.take(2, []garage.MeterReading{{Spot: "cable:6-7", Value: "0.5 Ω"}}, nil)
	for spot, want := range map[string]string{"car:6-14": "", "cable:6-7": "0.5 Ω", "adapter:2-7": "119.8"} {
		if got := c.fields[spot].Text; got != want {
			t.Errorf("%s: %q, want %q", spot, got, want)
		}
	}
}

// TestWiresAsTheyShouldBe: a cable whose wires all go right is said to be one.
func TestWiresAsTheyShouldBe(t *testing.T) {
	b := newBench(t, setup{})
	b.w.Show(PageCable)
	b.says("These wires go where they should.")
	b.tap("wired-b")
	b.saysNot("These wires go where they should.")
}

package app

import (
	"slices"
	"testing"

	"fyne.io/fyne/v2/test"
)

// TestWiringIsKept: a wiring that was told before the car was known is kept once it is, and shown at the next visit.
func TestWiringIsKept(t *testing.T) {
	log := &fakeLog{}
	b := newBench(t, setup{log: log})
	b.w.Show(PageCable)
	b.tap("wired-own")
	for _, pin := range []int{6, 14} {
		b.w.pickPin(true, pin)
		b.w.pickPin(false, 9-pin/2)
	}
	if len(log.wirings) != 0 {
		t.Fatalf("kept without a car: %v", log.wirings)
	}
	b.read()
	kept := func(want string) {
		t.Helper()
		b.until("kept as "+want, func() bool { got, err := log.Wiring(t.Context(), 1); return err == nil && got == want })
	}
	kept("own 6-6 14-2")
	b.w.Show(PageCable)
	b.w.pickPin(false, 6)
	kept("own 14-2")

	b = newBench(t, setup{log: log})
	b.read()
	b.until("shown", func() bool { return b.w.cable.kind == wiredOwn })
	if got := b.w.cable.own.String(); got != "14-2" {
		t.Errorf("the next visit shows %q", got)
	}
	b.w.Show(PageCable)
	b.tap("wired-b")
	kept("b")

	log.wirings[1] = "something else"
	b = newBench(t, setup{log: log})
	b.read()
	b.until("said", func() bool { return b.w.cable.err != nil })
	if b.w.cable.kind != wiredPlain {
		t.Errorf("what can't be read is shown as %s", b.w.cable.kind)
	}
}

// TestIdentifiersAreKept: an identifier that the owner has added and a module tells is asked for again at the next visit;
// one that nobody tells is not.
func TestIdentifiersAreKept(t *testing.T) {
	log, a := &fakeLog{}, test.NewTempApp(t)
	b := newBench(t, setup{app: a, log: log, visit: liveVisit()})
	b.read()
	b.w.Show(PageLive)
	b.until("offered", func() bool { return b.w.live.asking == nil })
	for _, id := range []string{"1234", "DD01"} {
		b.w.live.add.SetText(id)
		b.tap("live-add")
		b.until("asked", func() bool { return b.w.live.asking == nil })
	}
	kept := func() []uint16 { ids, _ := log.Identifiers(t.Context(), 1); return ids }
	b.until("kept", func() bool { return len(kept()) > 0 })
	if got := kept(); !slices.Equal(got, []uint16{0xDD01}) {
		t.Errorf("kept %04X", got)
	}

	again := liveVisit()
	b = newBench(t, setup{app: a, log: log, visit: again})
	b.read()
	b.w.Show(PageLive)
	b.until("offered", func() bool { return b.w.live.asking == nil })
	if !slices.Equal(again.added, []uint16{0xDD01}) {
		t.Errorf("the next visit asks for %04X", again.added)
	}
	b.says("Identifier DD01")
}

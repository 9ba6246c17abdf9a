package app

import (
	"strings"
	"testing"

	"fyne.io/fyne/v2"
)

// TestHeard: who talks, how often, what changes, and what it means by a definition file.
func TestHeard(t *testing.T) {
	b := newBench(t, setup{})
	b.w.Show(PageHeard)
	b.says("Nothing has been heard yet")
	b.heardRecording(spoken().file(t, "visit.pcapng"))
	b.says("9 identifiers are in use", "91 frames", "3 more were used by this computer", "It sends nothing", "500 a second", "10  27  00  00  00  00  00  FF")
	b.saysNot("sent by this computer")
	b.tap("heard-own")
	b.says("sent by this computer", "Hollow strokes")
	b.tap("heard-by-share")
	if got := b.w.ear.column.rows[0].ID.String(); got != "100" {
		t.Errorf("%s talks most", got)
	}
	b.w.ear.search.SetText("7E")
	if n := b.w.ear.column.Len(); n != 5 {
		t.Errorf("7E finds %d", n)
	}
	b.w.ear.search.SetText("no such")
	b.says("No identifier fits")
	b.w.ear.search.SetText("")
	b.w.readSignals(definitionFile(t))
	b.until("read", func() bool { return b.w.ear.signals != nil })
	b.win.Canvas().Focus(b.w.ear.list)
	b.key(fyne.KeyDown)
	// 27h = 39; 39 times 0.01 km/h; the file says that 16 is "Ready" and that a state is 0 to 3.
	for _, want := range []string{"Identifier 100", "Drive", "Speed", "0.39 km/h", "Ready", "outside the range of the file", "2.0 ms"} {
		if m := b.margin(); !strings.Contains(m, want) {
			t.Errorf("the margin does not say %q; it says %q", want, m)
		}
	}
	b.w.ear.search.SetText("drive")
	if n := b.w.ear.column.Len(); n != 1 {
		t.Errorf("a name finds %d", n)
	}
	b.tap("heard-forget")
	if b.w.ear.signals != nil {
		t.Error("the definition file is still open")
	}
}

// TestHeardInAVisit: only an adapter of raw frames hears the bus, and the strip says that nothing is sent.
func TestHeardInAVisit(t *testing.T) {
	b := newBench(t, setup{})
	b.visit.wire = spoken().entries
	b.connect()
	b.w.Show(PageHeard)
	b.until("taken", func() bool { return b.w.said.live != nil && b.w.said.live.table.Len() > 0 })
	b.says("9 identifiers are in use", "The wire was busy", "500 kbit/s", "PRACTICE")
	if s := reads(b.w.strip); !strings.Contains(s, "only listening") {
		t.Errorf("the strip says %q", s)
	}
	b.says("10  27  00  00  00  00  00  FF")

	b = newBench(t, setup{visit: messagesVisit()})
	b.visit.wire = spoken().entries
	b.connect()
	b.w.Show(PageHeard)
	b.until("taken", func() bool { return b.w.said.live != nil })
	b.says("It carries whole messages only", "serial-line CAN adapter")
}

func TestGrouped(t *testing.T) {
	for n, want := range map[int]string{0: "0", 999: "999", 1000: "1,000", 1234567: "1,234,567", -1000: "-1,000"} {
		if got := grouped(n); got != want {
			t.Errorf("%d: %s", n, got)
		}
	}
}

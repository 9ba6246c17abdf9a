package app

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fyne.io/fyne/v2"

	"readback/diag/link"
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

// A definition file with errors is used as far as it can be read; each place that can't be is named with its line.
func TestHeardBadDefinitions(t *testing.T) {
	text := "BO_ 256 Motion: 8 X\n SG_ Speed : 0|16@1+ (1,0) [0|0] \"\" X\n"
	for range mostProblems + 2 {
		text += " SG_ Bad : 0|0@1+ (1,0) [0|0] \"\" X\n"
	}
	path := filepath.Join(t.TempDir(), "bad.dbc")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	b := newBench(t, setup{})
	b.heardRecording(spoken().file(t, "visit.pcapng"))
	b.w.readSignals(path)
	b.until("read", func() bool { return b.w.ear.signals != nil })
	b.says("bad.dbc describes 1 identifier. 7 places in it could not be read. The rest is used.", "line 3: ", "line 7: ", "the number of bits is 0", "and 2 more")
	b.saysNot("line 8: ")
	if m, ok := b.w.ear.message(link.ID11(0x100)); !ok || len(m.Signals) != 1 {
		t.Error("the rest is not used")
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

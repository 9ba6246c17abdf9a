package app

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/storage"
	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/trace"
)

// wire makes entries of frames, each a millisecond after the one before it.
type wire struct {
	at      time.Time
	entries []trace.Entry
}

func (w *wire) say(d bus.Direction, id uint32, data ...byte) {
	w.at = w.at.Add(time.Millisecond)
	f := can.Frame{ID: id, Length: uint8(len(data)), IsExtended: id > can.MaxID}
	copy(f.Data[:], data)
	w.entries = append(w.entries, trace.Entry{Seq: uint64(len(w.entries) + 1), At: w.at, Direction: d, Level: trace.Frame, ID: link.IDOf(f), Data: f.Data[:f.Length], Frames: []can.Frame{f}})
}

// spoken is a conversation with an answer in one frame, one in four frames, a refusal after a wait, silence, a change, and
// a car that talks to itself. The identification number is that of ISO 15765-2's usual example, F190.
func spoken() *wire {
	w := &wire{at: begin}
	for i := range byte(40) {
		w.say(bus.In, 0x100, 0x10, i, 0, 0, 0, 0, 0, 0xFF)
		w.say(bus.In, 0x1A0+uint32(i%6), 1, 2, 3, i/10)
	}
	w.say(bus.Out, 0x7E5, 3, 0x22, 0xF1, 0x90, 0x55, 0x55, 0x55, 0x55)
	w.say(bus.In, 0x7ED, 0x10, 20, 0x62, 0xF1, 0x90, '0', 'T', 'N')
	w.say(bus.Out, 0x7E5, 0x30, 0, 0, 0x55, 0x55, 0x55, 0x55, 0x55)
	w.say(bus.In, 0x7ED, 0x21, 'C', 'E', '2', '3', 'E', '3', 'P')
	w.say(bus.In, 0x7ED, 0x22, '0', '0', '0', '4', '2', '1', '7')
	w.say(bus.Out, 0x7E0, 2, 0x3E, 0x00, 0x55, 0x55, 0x55, 0x55, 0x55)
	w.say(bus.In, 0x7E8, 2, 0x7E, 0x00, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA)
	w.say(bus.Out, 0x7E5, 4, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55)
	w.say(bus.In, 0x7ED, 3, 0x7F, 0x14, 0x78, 0xAA, 0xAA, 0xAA, 0xAA)
	w.say(bus.In, 0x7ED, 3, 0x7F, 0x14, 0x22, 0xAA, 0xAA, 0xAA, 0xAA)
	w.say(bus.Out, 0x7E6, 3, 0x19, 0x02, 0xFF, 0x55, 0x55, 0x55, 0x55)
	return w
}

func (w *wire) file(t testing.TB, name string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := trace.WriteFile(context.Background(), path, w.entries); err != nil {
		t.Fatal(err)
	}
	return path
}

func (b *bench) recording(path string) {
	b.t.Helper()
	b.w.Show(PageTalk)
	b.w.readRecording(path)
	b.until("read", func() bool { return b.w.said.reading == nil })
}

func (b *bench) heardRecording(path string) {
	b.t.Helper()
	b.recording(path)
	b.w.Show(PageHeard)
}

const definitions = `VERSION ""

BO_ 256 Drive: 8 Tester
 SG_ Speed : 8|16@1+ (0.01,0) [0|100] "km/h" Tester
 SG_ State : 0|8@1+ (1,0) [0|3] "" Tester
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;
BA_ "GenMsgCycleTime" BO_ 256 2;
VAL_ 256 State 16 "Ready" ;
`

func definitionFile(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "van.dbc")
	if err := os.WriteFile(path, []byte(definitions), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestTalkOfARecording(t *testing.T) {
	b := newBench(t, setup{})
	b.w.Show(PageTalk)
	b.says("Nothing has been said yet")
	b.recording(spoken().file(t, "visit.pcapng"))
	b.says("4 questions and what became of them", "visit.pcapng", "80 more frames belong to no question", "asked 22 F1 90 Tell", "said 62 F1 90 30 54", "refused after", "it asked for time once", "no answer")
	b.tap("talk-refused")
	b.says("1 of 4 fit", "7F 14 22")
	b.saysNot("asked 22 F1 90")
	b.tap("talk-change")
	b.says("1 of 4 fit", "a change")
	b.tap("talk-all")
	for text, want := range map[string]string{"f190": "asked 22 F1 90", "7ed": "62 F1 90 30", "7E6": "19 02 FF", "14 FF FF": "7F 14 22"} {
		b.w.said.search.SetText(text)
		b.says(want)
	}
	b.w.said.search.SetText("nothing like this")
	b.says("Nothing here fits")
	b.w.said.search.SetText("")
	for _, x := range b.w.said.shown().talk.Threads() {
		if x.Address.Request == link.ID11(0x7E0) {
			b.tap(fmt.Sprintf("thread %d", x.Number))
		}
	}
	b.says("3E 00", "1 of 4 fit")
	b.saysNot("19 02 FF")
}

// TestTalkFindsWhatItShows: in each language every word of a row finds it, and what has become of its question does.
func TestTalkFindsWhatItShows(t *testing.T) {
	for tag, some := range map[string][]string{"en": {"forget", "vehicle identification number", "refused after", "no answer", "a change"}, "de": {"vergessen", "Fahrgestellnummer", "abgelehnt nach", "keine Antwort", "Änderung", "ÄNDERUNG"}} {
		t.Run(tag, func(t *testing.T) {
			b := newBench(t, setup{language: tag})
			b.recording(spoken().file(t, "visit.pcapng"))
			s := b.w.said.shown()
			finds := func(text string) (out []uint32) {
				b.w.said.search.SetText(text)
				for i := range b.w.said.view.Len() {
					out = append(out, b.w.said.view.Row(i).Number)
				}
				return out
			}
			words := 0
			for i := range s.talk.Len() {
				r := s.talk.Row(i)
				shown := []string{told(r.Asked.Text), told(r.Said.Text), told(r.Words())}
				if r.Module != "" {
					shown = append(shown, named(r.Module))
				}
				for _, text := range shown {
					for word := range strings.FieldsSeq(text) {
						if strings.ContainsAny(word, "0123456789") || slices.Contains([]string{"ms", "ms;", "µs", "µs;", "s", "s;"}, word) { // of a time
							continue
						}
						words++
						if got := finds(word); !slices.Contains(got, r.Number) {
							t.Errorf("%q of row %d finds %v", word, r.Number, got)
						}
					}
				}
			}
			if words < 30 {
				t.Errorf("only %d words", words)
			}
			for _, text := range some {
				if len(finds(text)) == 0 {
					t.Errorf("%q finds nothing", text)
				}
			}
		})
	}
}

// TestTalkOfMany: a long recording is looked through beside the window's thread, and only the newest search counts.
func TestTalkOfMany(t *testing.T) {
	b := newBench(t, setup{})
	b.w.said.many = 1
	b.recording(spoken().file(t, "visit.pcapng"))
	b.says("4 questions")
	b.w.said.search.SetText("forget")
	b.w.said.search.SetText("7E6")
	b.says("Looking for it")
	b.until("found", func() bool { return b.w.said.seeking == nil })
	b.says("1 of 4 fit", "19 02 FF")
	b.saysNot("14 FF FF FF", "Looking for it")
	b.recording(spoken().file(t, "other.pcapng"))
	b.w.said.search.SetText("")
	b.until("found", func() bool { return b.w.said.seeking == nil })
	b.says("other.pcapng", "14 FF FF FF")
}

// TestTalkByKeyboard: a row is chosen, explained and opened without a pointer.
func TestTalkByKeyboard(t *testing.T) {
	b := newBench(t, setup{})
	b.recording(spoken().file(t, "visit.pcapng"))
	b.win.Canvas().Focus(b.w.said.list)
	b.key(fyne.KeyDown)
	if m := b.margin(); !strings.Contains(m, "F1 90") || !strings.Contains(m, "What to do") || !strings.Contains(m, "ISO 14229-1") {
		t.Errorf("the margin says %q", m)
	}
	b.key(fyne.KeyReturn)
	b.says("7ED  10 14 62 F1 90 30 54 4E", "7E5  30 00 00", "7ED  22 30 30 30 34 32 31 37", "4 frames", "4.0 ms after the question", "the question")
	b.tap("message 1")
	if m := b.margin(); !strings.Contains(m, "0TNCE23E3P0004217") {
		t.Errorf("the margin says %q", m)
	}
	b.key(fyne.KeyReturn)
	b.saysNot("7ED  22 30 30 30 34 32 31 37")
	b.key(fyne.KeyEnd)
	if got := b.w.said.column.row(b.w.said.list.Chosen()).Number; got != 4 {
		t.Errorf("End chooses row %d", got)
	}
	b.key(fyne.KeyUp)
	b.tap("message 1")
	if m := b.margin(); !strings.Contains(m, "Asks for time") {
		t.Errorf("the margin says %q", m)
	}
	b.key(fyne.KeyHome)
	b.tap("message 0")
	if got := b.w.said.list.Chosen(); got != 0 {
		t.Errorf("Home chooses row %d", got)
	}
}

// TestTalkOfAVisit: what is said appears while the visit runs, and stays when it has ended.
func TestTalkOfAVisit(t *testing.T) {
	b := newBench(t, setup{})
	all := spoken().entries
	b.connect()
	b.w.Show(PageTalk)
	b.until("taken", func() bool { return b.w.said.live != nil })
	b.says("No question has been asked yet")
	say := func(n int) {
		defer b.visit.lock()()
		b.visit.wire = all[:n]
	}
	say(85)
	b.until("first", func() bool { return b.w.said.live.talk.Len() == 1 })
	b.says("1 question and what became of it", "62 F1 90")
	b.tap("talk-follow")
	say(len(all))
	b.until("all", func() bool { return b.w.said.live.talk.Len() == 4 })
	b.says("no answer yet")
	if !b.w.said.follow || !b.w.main.AtEnd() {
		t.Error("the newest row is not kept in sight")
	}
	b.w.disconnect()
	b.until("ended", func() bool { return b.w.said.live.ended })
	b.says("the visit that has ended")
	b.saysNot("no answer yet")
	b.recording(spoken().file(t, "older.pcapng"))
	b.says("From the recording older.pcapng")
	b.tap("talk-live")
	b.says("the visit that has ended")
}

// TestTalkInParts: a long conversation is shown in parts, and the keyboard goes on from one to the next.
func TestTalkInParts(t *testing.T) {
	w := &wire{at: begin}
	for i := range 2*talkPart + 10 {
		w.say(bus.Out, 0x7E0, 3, 0x22, byte(i>>8), byte(i), 0x55, 0x55, 0x55, 0x55)
		w.say(bus.In, 0x7E8, 3, 0x7F, 0x22, 0x31, 0xAA, 0xAA, 0xAA, 0xAA)
	}
	b := newBench(t, setup{})
	b.recording(w.file(t, "long.pcapng"))
	b.says("5,010 questions", "Rows 1 to 2,500 of 5,010")
	b.win.Canvas().Focus(b.w.said.list)
	b.key(fyne.KeyEnd)
	b.says("Rows 5,001 to 5,010 of 5,010")
	at := func() uint32 { return b.w.said.column.row(b.w.said.list.Chosen()).Number }
	if at() != 5010 {
		t.Errorf("End chooses row %d", at())
	}
	b.tap("talk-earlier-top")
	if at() != 2501 {
		t.Errorf("Earlier chooses row %d", at())
	}
	b.key(fyne.KeyUp)
	b.says("Rows 1 to 2,500")
	if at() != 2500 {
		t.Errorf("Up chooses row %d", at())
	}
	b.key(fyne.KeyDown)
	if at() != 2501 {
		t.Errorf("Down chooses row %d", at())
	}
	b.tap("talk-last-end")
	b.key(fyne.KeyHome)
	if at() != 1 {
		t.Errorf("Home chooses row %d", at())
	}
}

// withRecordings is a logbook with recordings of two cars.
func withRecordings(paths ...string) *fakeLog {
	l := keptLog()
	for i, p := range paths {
		l.recordings = append(l.recordings, garage.Recording{ID: int64(i + 1), CarID: int64(1 + i%2), Entry: int64(i % 2), File: p, Frames: 1200 * (i + 1), Begun: begin.AddDate(0, 0, -i), Ended: begin.AddDate(0, 0, -i).Add(time.Duration(i+1) * time.Minute)})
	}
	return l
}

// TestKeptRecordings: the recordings beside the logbook are listed, newest first, and opened with one press.
func TestKeptRecordings(t *testing.T) {
	path := spoken().file(t, "visit-1.pcapng")
	b := newBench(t, setup{log: withRecordings(path, path, path, path, path, "/gone/visit.pcapng")})
	b.w.Show(PageTalk)
	b.until("kept", func() bool { return len(b.w.said.kept) == 6 })
	b.w.draw()
	b.says("6 recordings beside the logbook", "Blue Tarn van", "1,200 frames in 60 seconds", "2,400 frames in 2 minutes · with a change", "Show 1 more")
	b.tap("kept-all")
	b.tap("kept 6")
	b.until("read", func() bool { return b.w.said.reading == nil })
	b.says("visit.pcapng", "Nothing has been said yet")
	b.tap("kept 2")
	b.until("read", func() bool { return b.w.said.reading == nil })
	b.says("From the recording visit-1.pcapng", "4 questions")
	b.saysNot("beside the logbook")
	b.tap("talk-kept")
	b.says("6 recordings beside the logbook")
}

// TestBadFiles: what can't be read gets a sentence, and what came before stays.
func TestBadFiles(t *testing.T) {
	b := newBench(t, setup{})
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	b.recording(write("no.pcapng", []byte("this is no recording at all, but a text")))
	b.says("no.pcapng can't be read as a recording", "Nothing has been said yet")
	whole, err := os.ReadFile(spoken().file(t, "whole.pcapng"))
	if err != nil {
		t.Fatal(err)
	}
	b.recording(write("cut.pcapng", whole[:len(whole)-150]))
	b.says("cut.pcapng can be read only up to packet", "questions and what became of them")
	b.recording(filepath.Join(dir, "gone.pcapng"))
	b.says("gone.pcapng is not there any more.", "From the recording cut.pcapng")
	b.w.dropped([]fyne.URI{storage.NewFileURI(write("odd.xyz", nil))})
	b.says("This kind of file is not read here")
	b.w.dropped([]fyne.URI{storage.NewFileURI(write("no.dbc", []byte("nothing")))})
	b.until("read", func() bool { return strings.Contains(b.page(), "no.dbc") })
	b.says("no.dbc can't be read as a signal definition file")
}

// TestDropped: files that are dropped on the window come where they belong.
func TestDropped(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.until("taken", func() bool { return b.w.said.live != nil })
	card := filepath.Join(t.TempDir(), "card.txt")
	if err := os.WriteFile(card, []byte("no card"), 0o600); err != nil {
		t.Fatal(err)
	}
	b.w.dropped([]fyne.URI{storage.NewFileURI(card)})
	b.until("cards", func() bool { return b.w.card.err != nil })
	if b.w.page != PageRequest {
		t.Errorf("a card comes to %s", b.w.page)
	}
	b.w.dropped([]fyne.URI{storage.NewFileURI(spoken().file(t, "visit.pcapng"))})
	b.until("read", func() bool { return b.w.said.reading == nil })
	if b.w.page != PageTalk {
		t.Errorf("a recording comes to %s", b.w.page)
	}
	b.w.dropped([]fyne.URI{storage.NewFileURI(definitionFile(t))})
	b.until("defined", func() bool { return b.w.ear.signals != nil })
	if b.w.page != PageHeard {
		t.Errorf("a definition file comes to %s", b.w.page)
	}
	b.says("van.dbc describes 1 identifier", "Drive")
}

// TestReadingStops: Escape gives a recording up.
func TestReadingStops(t *testing.T) {
	b := newBench(t, setup{})
	b.w.Show(PageTalk)
	b.w.readRecording(spoken().file(t, "visit.pcapng"))
	b.says("Reading the recording", "visit.pcapng")
	b.key(fyne.KeyEscape)
	b.says("Nothing has been said yet")
	b.recording(spoken().file(t, "visit.pcapng"))
	b.says("4 questions")
}

var talkScenes = []struct {
	name  string
	setup setup
	reach func(b *bench)
}{
	{"talk-none", setup{}, func(b *bench) { b.w.Show(PageTalk) }},
	{"talk-kept", setup{log: withRecordings("a", "b", "c", "d", "e", "f", "g")}, func(b *bench) {
		b.w.Show(PageTalk)
		b.until("kept", func() bool { return len(b.w.said.kept) == 7 })
		b.w.draw()
	}},
	{"talk-reading", setup{}, func(b *bench) {
		b.w.Show(PageTalk)
		b.w.readRecording(spoken().file(b.t, "a visit with a long name to our van.pcapng"))
	}},
	{"talk", setup{}, func(b *bench) { b.recording(spoken().file(b.t, "visit.pcapng")) }},
	{"talk-open", setup{}, func(b *bench) {
		b.recording(spoken().file(b.t, "visit.pcapng"))
		b.w.talkGo(0)
		b.w.unfold(0)
		b.w.talkGo(2)
		b.w.said.message = 2
		b.w.draw()
		b.w.main.ToTop()
	}},
	{"talk-live", setup{}, func(b *bench) {
		b.visit.wire = spoken().entries
		b.read()
		b.w.Show(PageTalk)
		b.until("taken", func() bool { return b.w.said.live != nil && b.w.said.live.talk.Len() == 4 })
		b.recording(spoken().file(b.t, "a visit with a long name to our van.pcapng"))
		b.tap("talk-live")
		b.w.talkGo(2)
		b.w.main.ToTop()
	}},
	{"talk-many", setup{}, func(b *bench) {
		w := &wire{at: begin}
		for i := range uint32(talkPart) {
			w.say(bus.Out, 0x700+i%90, 3, 0x22, 0xF1, 0x90, 0x55, 0x55, 0x55, 0x55)
			w.say(bus.Out, 0x7E0, 3, 0x22, 0xF1, byte(i), 0x55, 0x55, 0x55, 0x55)
			w.say(bus.In, 0x7E8, 3, 0x7F, 0x22, 0x31, 0xAA, 0xAA, 0xAA, 0xAA)
		}
		b.recording(w.file(b.t, "many.pcapng"))
		b.w.talkGo(talkPart + 7)
	}},
	{"talk-no-match", setup{}, func(b *bench) {
		b.recording(spoken().file(b.t, "visit.pcapng"))
		b.w.said.search.SetText("DEADBEEF")
	}},
	{"talk-bad", setup{}, func(b *bench) {
		b.recording(spoken().file(b.t, "visit.pcapng"))
		b.recording("/nowhere/at-all/this-recording-is-not-there.pcapng")
	}},
	{"heard-none", setup{}, func(b *bench) { b.w.Show(PageHeard) }},
	{"heard", setup{}, func(b *bench) { b.heardRecording(spoken().file(b.t, "visit.pcapng")) }},
	{"heard-signals", setup{}, func(b *bench) {
		b.visit.wire = spoken().entries
		b.read()
		b.w.Show(PageHeard)
		b.until("taken", func() bool { return b.w.said.live != nil && b.w.said.live.table.Len() > 0 })
		b.w.readSignals(definitionFile(b.t))
		b.until("read", func() bool { return b.w.ear.signals != nil })
		b.w.ear.chosen = link.ID11(0x100)
		b.w.draw()
	}},
	{"heard-no-frames", setup{visit: messagesVisit()}, func(b *bench) {
		b.read()
		b.w.Show(PageHeard)
		b.until("taken", func() bool { return b.w.said.live != nil })
	}},
	{"heard-silent", setup{}, func(b *bench) {
		b.read()
		b.w.Show(PageHeard)
		b.until("taken", func() bool { return b.w.said.live != nil })
	}},
}

// messagesVisit is a visit through an adapter that carries whole messages.
func messagesVisit() *fakeVisit {
	v := vanVisit()
	v.abilities.Raw, v.abilities.Name = false, "USB serial adapter"
	return v
}

// gappy is a visit whose record has lost its oldest entries.
type gappy struct {
	Visit
	gap int
}

func (g gappy) Since(seq uint64) ([]trace.Entry, uint64) {
	entries, newest := g.Visit.Since(seq)
	return entries[min(g.gap, len(entries)):], newest
}

// TestBusyTalkRests: on a bus that says more than anybody can read, the page is drawn every fourth time only, and what came
// last is drawn once the bus is quiet. What the window has missed is counted.
func TestBusyTalkRests(t *testing.T) {
	b := newBench(t, setup{})
	b.connect()
	b.w.overhear()
	b.w.Show(PageHeard)
	one := spoken().entries[0]
	hear := func(n int) (drawn bool) {
		unlock := b.visit.lock()
		for range n {
			b.visit.wire = append(b.visit.wire, one)
		}
		unlock()
		before := reads(b.w.main.Object)
		b.w.overhear()
		return reads(b.w.main.Object) != before
	}
	var drawn []bool
	for range 8 {
		drawn = append(drawn, hear(hearRead+1))
	}
	drawn = append(drawn, hear(0), hear(0), hear(1), hear(hearRead))
	if want := []bool{true, false, false, false, true, false, false, false, true, false, true, true}; !slices.Equal(drawn, want) {
		t.Errorf("drawn %v, want %v", drawn, want)
	}
	const heard = 8*(hearRead+1) + 1 + hearRead
	if frames, gone := b.w.Heard(); frames != heard || gone != 0 {
		t.Errorf("%d frames heard, %d gone, want %d and none", frames, gone, heard)
	}
	b.w.said.live.visit, b.w.link.visit = gappy{b.visit, 3}, gappy{b.visit, 3}
	hear(5)
	if frames, gone := b.w.Heard(); frames != heard+2 || gone != 3 {
		t.Errorf("after a gap: %d frames heard, %d gone, want %d and 3", frames, gone, heard+2)
	}
}

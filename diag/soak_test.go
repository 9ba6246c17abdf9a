package diag_test

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/heard"
	"readback/diag/link"
	"readback/diag/talk"
)

// busyCar is the practice car with as much ordinary traffic as leaves the share of the bus that questions may take.
const busyCar = `{"version": 1, "base": "courier", "traffic": [
	{"id": "120", "every": 1, "data": "00 00 00 10 00 00 00 80", "speed": 0, "counter": 7},
	{"id": "1A4", "every": 1, "data": "7D 00 FF 00 00 00 00 40", "counter": 7},
	{"id": "2C0", "every": 2, "data": "00 2F 0E 01 00 00", "supply": 0},
	{"id": "3F1", "every": 10, "data": "00 A0 F6 2F"}]}`

// most is how much memory a visit may take in all, in MiB.
const most = 100

// TestSoak watches live values of a car on a busy bus and follows the conversation as a window does, five times a second:
// no frame is lost on the way to its tables, the readings come as often at the end as at the beginning, and memory does not
// grow beyond the conversation that is kept. It goes on for a minute, with READBACK_THOROUGH for an hour, in fake time.
func TestSoak(t *testing.T) {
	minutes := 1
	if os.Getenv(thorough) != "" {
		minutes = 60
	}
	file := filepath.Join(t.TempDir(), "busy.json")
	if err := os.WriteFile(file, []byte(busyCar), 0o600); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		v, values := offered(t, adapter.Place("practice:"+file))
		keys := chosen(t, values, "vehicle speed", "motor speed")
		begun := time.Now()
		_, from := v.Since(math.MaxUint64)
		w := &soaked{visit: v, talk: talk.New(talk.Options{}), table: heard.New(heard.Options{}), seq: from}
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(minutes)*time.Minute+time.Millisecond/2)
		defer cancel()
		readings := make([]int, minutes+1)
		next := begun
		for s, err := range v.Watch(ctx, keys) {
			if err != nil {
				if !errors.Is(err, context.DeadlineExceeded) {
					t.Fatalf("after %v: %v", time.Since(begun), err)
				}
				break
			}
			readings[int(time.Since(begun)/time.Minute)]++
			if s.Value < 0 {
				t.Fatalf("%+v", s)
			}
			if time.Now().After(next) {
				next = next.Add(200 * time.Millisecond)
				w.follow()
			}
		}
		w.follow()
		lasted := time.Since(begun)
		for id, every := range map[uint32]time.Duration{0x120: time.Millisecond, 0x1A4: time.Millisecond, 0x2C0: 2 * time.Millisecond, 0x3F1: 10 * time.Millisecond} {
			got, want := w.heard(link.ID11(id)), int(lasted/every)
			if got < want-1 || got > want+1 {
				t.Errorf("%03X was heard %d times in %v, want %d", id, got, lasted, want)
			}
		}
		if w.lost > 0 || w.entries < uint64(minutes)*60*2600 {
			t.Errorf("%d entries, %d lost", w.entries, w.lost)
		}
		if first, last := readings[0], readings[minutes-1]; first == 0 || last < first*19/20 || last > first*21/20 {
			t.Errorf("readings a minute: %d at first, %d at last", first, last)
		}
		t.Logf("%v: %d entries, %d lost; readings a minute %v; heap in MiB, each twelfth %v", lasted, w.entries, w.lost, readings, w.twelfths())
		// The conversation fills up to its limit and then forgets its oldest part at once.
		if part := len(w.heap) * 3 / 4; slices.Max(w.heap) > most || minutes > 1 && slices.Max(w.heap[part:]) > slices.Max(w.heap[:part])+8 {
			t.Errorf("memory grows: %v MiB", w.heap)
		}
	})
}

// soaked is what a window keeps of a conversation.
type soaked struct {
	visit   *diag.Visit
	talk    *talk.Talk
	table   *heard.Table
	seq     uint64
	entries uint64
	lost    uint64
	looks   int
	heap    []uint64
}

// heard is how often an identifier was heard.
func (w *soaked) heard(id link.ID) (n int) {
	for i := range w.table.Len() {
		if r := w.table.Row(i); r.ID == id {
			n = int(r.Count)
		}
	}
	return n
}

// follow takes what is new.
func (w *soaked) follow() {
	entries, newest := w.visit.Since(w.seq)
	w.entries += uint64(len(entries))
	w.lost += newest - w.seq - uint64(len(entries))
	w.seq = newest
	w.talk.Add(entries)
	w.table.Add(entries)
	if w.looks++; w.looks%150 == 0 { // twice a minute
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		w.heap = append(w.heap, m.HeapAlloc>>20)
	}
}

// twelfths are samples of the memory, twelve at most.
func (w *soaked) twelfths() (out []uint64) {
	for i := 0; i < len(w.heap); i += max(1, len(w.heap)/12) {
		out = append(out, w.heap[i])
	}
	return out
}

package garage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"readback/diag/explain"
	"readback/diag/gate"
	"readback/diag/link"
)

// sendVariable makes the killed program send changes through a gate onto a wire; its value is the file that the wire
// writes each frame into.
const sendVariable = "GARAGE_WIRE"

// wire is a link that writes what goes out into a file, which outlives its process, and answers as a module does.
type wire struct{ out *os.File }

func (w wire) Send(_ context.Context, m link.Message) error {
	_, err := fmt.Fprintf(w.out, "%s#%X\n", m.Address.Request, m.Exact)
	return err
}

func (w wire) Receive(context.Context) (link.Message, error) {
	return link.Message{Data: []byte{0x54}}, nil
}

func (w wire) Close() error { return w.out.Close() }

// sendForEver does what a visit does with one change after the other, each erasing another code: it settles what an
// earlier run left open by reading again, never by sending again; then record, permit, journal, wire, outcome, read-back.
func sendForEver(ctx context.Context, path string) error {
	out, err := os.OpenFile(os.Getenv(sendVariable), os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		return err
	}
	s, err := Open(ctx, path)
	if err != nil {
		return err
	}
	car, ok, err := s.FindCar(ctx, "", "Van", false)
	if err != nil || !ok {
		return fmt.Errorf("no car: %w", err)
	}
	g := gate.New(wire{out}, gate.Options{})
	open, err := s.Unknown(ctx)
	if err != nil {
		return err
	}
	for _, e := range open {
		if err := readAgain(ctx, s, e); err != nil {
			return err
		}
	}
	for {
		done, err := s.Journal(ctx, car.ID)
		if err != nil {
			return err
		}
		if err := sendOne(ctx, s, g, car.ID, len(done)+1); err != nil {
			return err
		}
	}
}

// shortVisit is a visit that is quickly saved and checked.
func shortVisit(car int64, k Kind) Visit {
	v := fullVisit(car)
	v.Kind, v.Modules = k, v.Modules[:1]
	return v
}

func readAgain(ctx context.Context, s *Store, e Entry) error {
	v, err := s.SaveVisit(ctx, shortVisit(e.CarID, KindReadBack))
	if err != nil {
		return err
	}
	fmt.Println("saved", v.ID)
	return errors.Join(s.LinkReadBack(ctx, e.ID, v.ID), s.MarkSeen(ctx, e.ID))
}

func sendOne(ctx context.Context, s *Store, g *gate.Gate, car int64, n int) error {
	before, err := s.SaveVisit(ctx, shortVisit(car, KindBefore))
	if err != nil {
		return err
	}
	fmt.Println("saved", before.ID)
	m := link.Message{Address: link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), Data: []byte{0x14, byte(n >> 16), byte(n >> 8), byte(n)}}
	m.Exact = append([]byte{4}, append(bytes.Clone(m.Data), 0x55, 0x55, 0x55)...)
	e := explain.ExplainFrame(m.Address.Request, m.Exact, explain.Options{})
	now := time.Now()
	zero := &gate.Reading{At: now, Source: gate.FromCar}
	permit, err := g.Permit(gate.Proposal{Message: m, Explanation: e, Words: e.Words[0], State: gate.State{
		Speed: zero, Motor: zero, Charging: zero, Supply: &gate.Reading{Value: 12.7, At: now, Source: gate.Measured},
		Record: &gate.RecordFacts{At: now, Complete: true}, Safety: gate.SafetyFacts{Read: true}}}, now)
	if err != nil {
		return err
	}
	planned := clearing(car, before.ID)
	planned.Request = fmt.Sprintf("%s#%X", m.Address.Request, m.Exact)
	planned, err = s.Begin(ctx, planned)
	if err != nil {
		return err
	}
	fmt.Println("begun", planned.ID)
	if err := g.Pass(ctx, permit, m, time.Now()); err != nil {
		return err
	}
	fmt.Println("sent", planned.ID)
	if err := s.Finish(ctx, planned.ID, Accepted, []string{"54"}, time.Now()); err != nil {
		return err
	}
	fmt.Println("finished", planned.ID)
	return readAgain(ctx, s, planned)
}

// killing is a store and a wire that outlive the programs that are killed over them.
type killing struct {
	path, wire string
	car        int64
	random     *rand.Rand
	told       map[string]map[int64]bool
	checked    map[int64]bool // visits whose checksum was looked at
	rows       int            // of the journal, the last time
}

func newKilling(t testing.TB) *killing {
	t.Helper()
	dir := t.TempDir()
	k := &killing{path: filepath.Join(dir, "readback.db"), wire: filepath.Join(dir, "wire"), random: rand.New(rand.NewPCG(2026, 12)),
		told: map[string]map[int64]bool{"saved": {}, "begun": {}, "sent": {}, "finished": {}}, checked: map[int64]bool{}}
	s := open(t, k.path)
	k.car = putCar(t, s, Car{Name: "Van"}).ID
	if err := errors.Join(s.Close(), os.WriteFile(k.wire, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	return k
}

// once starts the program, kills it at a random moment, and looks at what is left.
func (k *killing) once(t testing.TB) {
	t.Helper()
	killOnce(t, k.path, k.random.IntN(8), time.Duration(k.random.IntN(3000))*time.Microsecond, k.told, sendVariable+"="+k.wire)
	s, err := Open(t.Context(), k.path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(k.check(t.Context(), s), s.Close()); err != nil {
		t.Fatal(err)
	}
}

func (k *killing) check(ctx context.Context, s *Store) error {
	text, err := os.ReadFile(k.wire)
	if err != nil {
		return err
	}
	sent := map[string]int{}
	for _, frame := range strings.Fields(string(text)) {
		sent[frame]++
	}
	rows, err := s.Journal(ctx, k.car)
	if err != nil {
		return err
	}
	if len(rows) < k.rows {
		return fmt.Errorf("the journal had %d rows and has %d", k.rows, len(rows))
	}
	k.rows = len(rows)
	written := map[int64]Entry{}
	for _, e := range rows {
		written[e.ID] = e
		switch n := sent[e.Request]; {
		case n > 1:
			return fmt.Errorf("%s went out %d times", e.Request, n)
		case e.Outcome != Accepted && e.Outcome != Unknown:
			return fmt.Errorf("entry %d is %q", e.ID, e.Outcome)
		case e.Outcome == Accepted && n != 1, k.told["sent"][e.ID] && n != 1:
			return fmt.Errorf("entry %d is %q and went out %d times", e.ID, e.Outcome, n)
		case e.Outcome == Unknown && k.told["finished"][e.ID]:
			return fmt.Errorf("entry %d was finished and is unknown", e.ID)
		}
		delete(sent, e.Request)
	}
	if len(sent) > 0 {
		return fmt.Errorf("on the wire and not in the journal: %v", slices.Collect(maps.Keys(sent)))
	}
	for id := range k.told["begun"] {
		if _, ok := written[id]; !ok {
			return fmt.Errorf("entry %d was begun and is lost", id)
		}
	}
	for id := range k.told["saved"] {
		if k.checked[id] {
			continue
		}
		if _, err := s.Visit(ctx, id); err != nil {
			return err
		}
		k.checked[id] = true
	}
	return nil
}

// A program that sends changes is killed 50 times at random moments: nothing is on the wire that is not in the journal,
// nothing that was written is lost, nothing goes out a second time.
func TestKilledWhileSending(t *testing.T) {
	k := newKilling(t)
	for range 50 {
		k.once(t)
	}
	t.Logf("%d changes, %d of them finished", k.rows, len(k.told["finished"]))
	if len(k.told["finished"]) == 0 || len(k.told["finished"]) == k.rows {
		t.Errorf("%d of %d changes were finished: the test tested half of what it says", len(k.told["finished"]), k.rows)
	}
}

// The same as often as it is asked for, -benchtime 500x.
func BenchmarkKills(b *testing.B) {
	k := newKilling(b)
	for b.Loop() {
		k.once(b)
	}
	b.ReportMetric(float64(k.rows), "changes")
	b.ReportMetric(float64(k.rows-len(k.told["finished"])), "unfinished")
}

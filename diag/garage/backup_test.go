package garage

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// used makes a store that has something of everything: two cars, visits, a change with its proof, cards, readings,
// recordings, a report.
func used(t testing.TB) (*Store, Car) {
	t.Helper()
	s := fresh(t)
	putCar(t, s, Car{Name: "Practice", Practice: true, VIN: number})
	car := putCar(t, s, Car{Name: "Van", VIN: number, Odometer: "48213 km, typed", Made: begun})
	ctx := t.Context()
	v := putVisit(t, s, fullVisit(car.ID))
	e, err := s.Begin(ctx, clearing(car.ID, v.ID))
	after := fullVisit(car.ID)
	after.Kind, after.Begun = KindReadBack, begun.Add(time.Minute)
	after = putVisit(t, s, after)
	r, err1 := s.PutRecording(ctx, Recording{CarID: car.ID, Visit: v.ID, Entry: e.ID, Frames: 3, Begun: begun, Ended: begun.Add(time.Second)}, bytesWriter("frames of the change"))
	_, err2 := s.PutRecording(ctx, Recording{CarID: car.ID, Begun: begun}, bytesWriter("frames of a look"))
	_, err3 := s.PutNote(ctx, car.ID, "P0A08-13", Note{Text: "plug was loose \xff", Who: "owner", At: begun})
	_, err4 := s.PutCard(ctx, car.ID, Card{Title: "Forget", Request: "7E5#0414FFFFFF555555", At: begun})
	_, err5 := s.PutReport(ctx, Report{CarID: car.ID, Visit: v.ID, Made: begun, Form: "html", Digest: r.Digest})
	if err := errors.Join(err, err1, err2, err3, err4, err5,
		s.Finish(ctx, e.ID, Accepted, []string{"7ED 54"}, begun.Add(time.Second)), s.LinkReadBack(ctx, e.ID, after.ID),
		s.PlanProof(ctx, e.ID, []ProofStep{{Step: "R1", Due: begun}, {Step: "R2", Due: begun.Add(time.Hour)}}),
		s.PutMeter(ctx, car.ID, []MeterReading{{Spot: "car:6-14", Value: "60.4 Ω", At: begun}}),
		s.PutOffset(ctx, "can:can0", 0.25, begun),
		s.PutIdentifiers(ctx, car.ID, []uint16{0xDD01, 0x0007}, begun),
		s.PutWiring(ctx, car.ID, "own 6-7 14-2", begun),
		s.NameModule(ctx, car.ID, v.Modules[0].Address, "Charge flap")); err != nil {
		t.Fatal(err)
	}
	return s, car
}

func bytesWriter(text string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, text); return err }
}

// dump is every row of a store as text, by table.
func dump(t testing.TB, s *Store) map[string][]string {
	t.Helper()
	all := map[string][]string{}
	for _, p := range append(slices.Clone(parts), part{name: "meter_offset"}) {
		rows, err := s.db.Query("SELECT * FROM " + p.name)
		if err != nil {
			t.Fatal(err)
		}
		columns, err := rows.Columns()
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			row, into := make([]any, len(columns)), make([]any, len(columns))
			for i := range row {
				into[i] = &row[i]
			}
			if err := rows.Scan(into...); err != nil {
				t.Fatal(err)
			}
			all[p.name] = append(all[p.name], fmt.Sprintf("%q", row))
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			t.Fatal(err)
		}
	}
	return all
}

func backUp(t testing.TB, s *Store) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := s.BackUp(t.Context(), &b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// listing is every file beneath a folder with its bytes; lock files are left out.
func listing(t testing.TB, folder string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.Contains(path, "-opening") || strings.Contains(path, "-open-") {
			return err
		}
		b, err := os.ReadFile(path)
		rel, _ := filepath.Rel(folder, path)
		files[rel] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func TestBackUpAndRestore(t *testing.T) {
	s, car := used(t)
	var b bytes.Buffer
	facts, err := s.BackUp(t.Context(), &b)
	if d := cmp.Diff(BackedUp{Cars: 2, Visits: 2, Recordings: 2, Missing: []string{}}, facts); err != nil || d != "" {
		t.Fatal(err, d)
	}
	want := dump(t, s)
	if again := listing(t, filepath.Dir(s.Path())); len(again) != 3 {
		t.Errorf("left beside the store: %v", slices.Collect(maps.Keys(again)))
	}

	// Into an empty folder.
	path := filepath.Join(t.TempDir(), "new", "readback.db")
	got, err := Restore(t.Context(), path, bytes.NewReader(b.Bytes()), int64(b.Len()))
	if d := cmp.Diff(Restored{Cars: 2, Visits: 2, Altered: []int64{}, Recordings: 2, Missing: []string{}}, got); err != nil || d != "" {
		t.Fatal(err, d)
	}
	back := open(t, path)
	if d := cmp.Diff(want, dump(t, back)); d != "" {
		t.Error(d)
	}
	recordings, err := back.Recordings(t.Context(), car.ID)
	if err != nil || len(recordings) != 2 || contents(t, back.RecordingPath(recordings[1])) != "frames of the change" {
		t.Errorf("%v, %v", recordings, err)
	}

	// While the store is open: not at all.
	var busy *BusyError
	if _, err := Restore(t.Context(), path, bytes.NewReader(b.Bytes()), int64(b.Len())); !errors.As(err, &busy) {
		t.Errorf("restored into an open store: %v", err)
	}

	// In the place of another one, which is kept.
	putCar(t, back, Car{Name: "Added later"})
	newer := dump(t, back)
	if err := back.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(back.RecordingPath(recordings[0]), []byte("scribbled over"), 0o600); err != nil {
		t.Fatal(err)
	}
	got, err = Restore(t.Context(), path, bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil || !strings.HasPrefix(got.KeptAs, path+".before-restore-") {
		t.Fatal(got, err)
	}
	if d := cmp.Diff(want, dump(t, open(t, path))); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(newer, dump(t, open(t, got.KeptAs))); d != "" {
		t.Error("kept:", d)
	}
	if contents(t, back.RecordingPath(recordings[0])) != "frames of a look" || contents(t, back.RecordingPath(recordings[0])+".kept") != "scribbled over" {
		t.Error("the recording that was altered is not back, or not kept")
	}
}

// A change that was in the air at the moment of the back-up is an open question in the store that comes back.
func TestBackUpWhileSending(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	e := begin(t, s, clearing(car.ID, 0))
	b := backUp(t, s)
	path := filepath.Join(t.TempDir(), "readback.db")
	if _, err := Restore(t.Context(), path, bytes.NewReader(b), int64(len(b))); err != nil {
		t.Fatal(err)
	}
	if got := unknown(t, open(t, path)); len(got) != 1 || got[0] != e.ID {
		t.Errorf("open questions %v", got)
	}
	if got := journal(t, s, car.ID); got[0].Outcome != Planned {
		t.Errorf("the back-up made it %q here", got[0].Outcome)
	}
}

func TestBackUpTellsWhatIsMissing(t *testing.T) {
	s, car := used(t)
	recordings, err := s.Recordings(t.Context(), car.ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.Remove(s.RecordingPath(recordings[0])), os.WriteFile(s.RecordingPath(recordings[1]), []byte("altered"), 0o600)); err != nil {
		t.Fatal(err)
	}
	execute(t, s.Path(), `DROP TRIGGER visit_kept; UPDATE visit SET odometer = '1 km' WHERE id = 2`)
	var b bytes.Buffer
	facts, err := s.BackUp(t.Context(), &b)
	if err != nil || !slices.Equal(facts.Missing, []string{recordings[0].File}) {
		t.Error(facts, err)
	}
	got, err := Restore(t.Context(), filepath.Join(t.TempDir(), "x.db"), bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil || got.Recordings != 0 || len(got.Missing) != 2 || !slices.Equal(got.Altered, []int64{2}) {
		t.Errorf("%+v, %v", got, err)
	}
}

// shortWriter fails after a number of bytes.
type shortWriter struct{ room int }

var errShort = errors.New("the stick was pulled")

func (w *shortWriter) Write(b []byte) (int, error) {
	if w.room -= len(b); w.room < 0 {
		return 0, errShort
	}
	return len(b), nil
}

func TestBackUpFails(t *testing.T) {
	s, car := used(t)
	whole := backUp(t, s)
	before := listing(t, filepath.Dir(s.Path()))
	for room := 0; room < len(whole); room += 397 {
		if _, err := s.BackUp(t.Context(), &shortWriter{room}); !errors.Is(err, errShort) {
			t.Fatalf("after %d bytes: %v", room, err)
		}
		if _, err := s.ExportCar(t.Context(), car.ID, &shortWriter{min(room, 100)}); !errors.Is(err, errShort) {
			t.Fatalf("car after %d bytes: %v", room, err)
		}
	}
	if d := cmp.Diff(before, listing(t, filepath.Dir(s.Path()))); d != "" {
		t.Error(d)
	}
}

// failingReader fails at the n-th reading.
type failingReader struct {
	r    io.ReaderAt
	left int
}

func (f *failingReader) ReadAt(p []byte, off int64) (int, error) {
	if f.left--; f.left < 0 {
		return 0, errShort
	}
	return f.r.ReadAt(p, off)
}

// countdown is a context that ends when it has been asked a number of times.
type countdown struct {
	context.Context
	left atomic.Int64
}

func endingAt(ctx context.Context, question int) *countdown {
	c := &countdown{Context: ctx}
	c.left.Store(int64(question))
	return c
}

func (c *countdown) Err() error {
	if c.left.Add(-1) < 0 {
		return context.Canceled
	}
	return c.Context.Err()
}

// Whatever stops it, a restore that fails leaves every file as it was.
func TestRestoreFails(t *testing.T) {
	source, _ := used(t)
	b := backUp(t, source)
	s, _ := used(t)
	putCar(t, s, Car{Name: "Only here"})
	path := s.Path()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	before := listing(t, filepath.Dir(path))
	failed := 0
	try := func(what string, ctx context.Context, r io.ReaderAt, size int, is error) bool {
		t.Helper()
		_, err := Restore(ctx, path, r, int64(size))
		if err == nil {
			return false
		}
		failed++
		if is != nil && !errors.Is(err, is) {
			t.Errorf("%s: %v", what, err)
		}
		if d := cmp.Diff(before, listing(t, filepath.Dir(path))); d != "" {
			t.Fatalf("%s: %s", what, d)
		}
		return true
	}
	for n := 0; try(fmt.Sprint("reading ", n), t.Context(), &failingReader{bytes.NewReader(b), n}, len(b), errShort); n++ {
	}
	again := func() {
		t.Helper()
		for name := range listing(t, filepath.Dir(path)) {
			os.Remove(filepath.Join(filepath.Dir(path), name))
		}
		for name, text := range before {
			if err := os.WriteFile(filepath.Join(filepath.Dir(path), name), []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	again()
	for n := 0; try(fmt.Sprint("ended at question ", n), endingAt(t.Context(), n), bytes.NewReader(b), len(b), context.Canceled); n++ {
	}
	again()
	for n := 0; n < len(b); n += 701 {
		if !try(fmt.Sprint("cut after ", n), t.Context(), bytes.NewReader(b[:n]), n, nil) {
			t.Errorf("a back-up cut after %d of %d bytes was taken", n, len(b))
		}
		bad := bytes.Clone(b)
		bad[n] ^= 0x5A
		if !try(fmt.Sprint("byte ", n), t.Context(), bytes.NewReader(bad), len(bad), nil) {
			again() // the byte says nothing about what is in the file: a time in a directory, say
		}
	}
	t.Logf("%d failures", failed)
}

// pack makes a bundle by hand.
func pack(t testing.TB, format string, edit func(*manifest), files map[string]string, more ...string) []byte {
	t.Helper()
	var out bytes.Buffer
	b := newBundleWriter(&out, format)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if err := b.add(name, bytesWriter(files[name])); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range more {
		w, err := b.zip.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, "more"); err != nil {
			t.Fatal(err)
		}
	}
	if edit != nil {
		edit(&b.m)
	}
	if err := b.close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func plainZip(t testing.TB, name, text string) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	w, err := z.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(w, text); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestRestoreRefuses(t *testing.T) {
	s, car := used(t)
	good := backUp(t, s)
	rows := contents(t, s.Path())
	var exported bytes.Buffer
	if _, err := s.ExportCar(t.Context(), car.ID, &exported); err != nil {
		t.Fatal(err)
	}
	only := map[string]string{storeName: rows}
	recording := recordingsPlace + "20231114-221320-00112233.pcapng"
	newer := fixture(t, schemaVersion)
	execute(t, newer, `PRAGMA user_version = 99`)
	mixed := fixture(t, schemaVersion)
	execute(t, mixed, `DROP TRIGGER visit_kept; UPDATE visit SET practice = 1 WHERE id = 1`)
	for _, c := range []struct {
		name  string
		b     []byte
		fault Fault
	}{
		{"nothing", nil, FaultForeign},
		{"a text", []byte("Dear workshop, the charge flap stays shut.\n"), FaultForeign},
		{"another zip", plainZip(t, "photo.jpg", "x"), FaultForeign},
		{"another's manifest", plainZip(t, manifestName, `{"manifest_version": 3}`), FaultForeign},
		{"a list as manifest", plainZip(t, manifestName, `[]`), FaultForeign},
		{"our manifest, torn", plainZip(t, manifestName, `{"format": "readback store", "version": "x"}`), FaultDamaged},
		{"a car's file", exported.Bytes(), FaultForeign},
		{"its end missing", good[:len(good)-30], FaultDamaged},
		{"a newer bundle", pack(t, backUpFormat, func(m *manifest) { m.Version = 2 }, only), FaultNewer},
		{"a newer schema", pack(t, backUpFormat, func(m *manifest) { m.Schema = schemaVersion + 1 }, only), FaultNewer},
		{"a newer store", pack(t, backUpFormat, nil, map[string]string{storeName: contents(t, newer)}), FaultNewer},
		{"version 0", pack(t, backUpFormat, func(m *manifest) { m.Version = 0 }, only), FaultDamaged},
		{"no store", pack(t, backUpFormat, nil, map[string]string{recording: "x"}), FaultDamaged},
		{"a store that is none", pack(t, backUpFormat, nil, map[string]string{storeName: "x"}), FaultDamaged},
		{"half a store", pack(t, backUpFormat, nil, map[string]string{storeName: rows[:8192]}), FaultDamaged},
		{"a store that may not be written to", pack(t, backUpFormat, nil, map[string]string{storeName: rows[:18] + "\x0B\x02" + rows[20:]}), FaultDamaged},
		{"a practice visit of a real car", pack(t, backUpFormat, nil, map[string]string{storeName: contents(t, mixed)}), FaultDamaged},
		{"a way out of the folder", pack(t, backUpFormat, nil, map[string]string{storeName: rows, "recordings/../../out.pcapng": "x"}), FaultDamaged},
		{"a way to the root", pack(t, backUpFormat, nil, map[string]string{storeName: rows, "/tmp/20231114-221320-00112233.pcapng": "x"}), FaultDamaged},
		{"a way with backslashes", pack(t, backUpFormat, nil, map[string]string{storeName: rows, `recordings/..\out.pcapng`: "x"}), FaultDamaged},
		{"a file too many", pack(t, backUpFormat, nil, only, "recordings/more"), FaultDamaged},
		{"a file twice", pack(t, backUpFormat, nil, only, storeName), FaultDamaged},
		{"named twice", pack(t, backUpFormat, func(m *manifest) { m.Files = append(m.Files, m.Files[0]) }, only), FaultDamaged},
		{"a file that is missing", pack(t, backUpFormat, func(m *manifest) { m.Files = append(m.Files, bundleFile{recording, 1, make(Hex, 32)}) }, only), FaultDamaged},
		{"another size", pack(t, backUpFormat, func(m *manifest) { m.Files[0].Size++ }, only), FaultDamaged},
		{"a size below zero", pack(t, backUpFormat, func(m *manifest) { m.Files[0].Size = -1 }, only), FaultDamaged},
		{"another digest", pack(t, backUpFormat, func(m *manifest) { m.Files[0].Digest[0]++ }, only), FaultDamaged},
		{"a short digest", pack(t, backUpFormat, func(m *manifest) { m.Files[0].Digest = Hex{1} }, only), FaultDamaged},
		{"a bomb", pack(t, backUpFormat, nil, map[string]string{storeName: rows, recording: strings.Repeat("\x00", 100<<20)}), FaultTooLarge},
	} {
		folder := t.TempDir()
		path := filepath.Join(folder, "in", "readback.db")
		_, err := Restore(t.Context(), path, bytes.NewReader(c.b), int64(len(c.b)))
		var e *FileError
		if !errors.As(err, &e) || e.Fault != c.fault || e.Cause == nil {
			t.Errorf("%s: %v", c.name, err)
		}
		if left := listing(t, folder); len(left) != 0 {
			t.Errorf("%s: left %v", c.name, slices.Collect(maps.Keys(left)))
		}
	}
}

// Whatever stands in the store of a back-up that is whole by its digests: a store that can be read, or a FileError and nothing
// left of it.
func FuzzRestore(f *testing.F) {
	s, _ := used(f)
	rows := contents(f, s.Path())
	if err := s.Close(); err != nil {
		f.Fatal(err)
	}
	f.Add(uint32(0), []byte{}, uint32(0))
	f.Add(uint32(18), []byte{2, 2}, uint32(0))        // another journal mode
	f.Add(uint32(60), []byte{0, 0, 0, 99}, uint32(0)) // another schema
	f.Add(uint32(4096), []byte{0x0D}, uint32(4096))
	f.Add(uint32(len(rows)/2), []byte("DROP TABLE visit"), uint32(1))
	f.Fuzz(func(t *testing.T, at uint32, patch []byte, cut uint32) {
		b := []byte(rows)
		copy(b[int(at)%len(b):], patch)
		b = b[:len(b)-int(cut)%len(b)]
		file := pack(t, backUpFormat, nil, map[string]string{storeName: string(b)})
		folder := t.TempDir()
		path := filepath.Join(folder, "in", "readback.db")
		facts, err := Restore(t.Context(), path, bytes.NewReader(file), int64(len(file)))
		if err != nil {
			var e *FileError
			if left := listing(t, folder); !errors.As(err, &e) || len(left) != 0 {
				t.Fatalf("%v, and left are %v", err, slices.Collect(maps.Keys(left)))
			}
			return
		}
		restored, err := Open(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		defer restored.Close()
		var again Restored
		if err := again.readAll(t.Context(), restored, nil); err != nil || again.Cars != facts.Cars || again.Visits != facts.Visits {
			t.Fatalf("%+v, then %+v, %v", facts, again, err)
		}
	})
}

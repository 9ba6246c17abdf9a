package garage

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// restoreVariable makes the killed program restore a back-up, whose path is its value.
const restoreVariable = "GARAGE_RESTORE"

// writeVariable makes the other program begin to write and wait for the end of its input.
const writeVariable = "GARAGE_WRITE"

// restoreOnce restores and tells of it.
func restoreOnce(ctx context.Context, path string) error {
	f, err := os.Open(os.Getenv(restoreVariable))
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	fmt.Println("saved", 0)
	got, err := Restore(ctx, path, f, info.Size())
	if err != nil {
		return err
	}
	fmt.Println("finished", got.Visits)
	<-time.After(time.Minute)
	return errors.New("it was not killed")
}

// holdWrite begins to write and keeps the store locked until its input ends.
func holdWrite(ctx context.Context, path string) error {
	s, err := Open(ctx, path)
	if err != nil {
		return err
	}
	return s.write(ctx, "hold", func(*sql.Tx) error {
		fmt.Println("begun", 0)
		_, err := io.Copy(io.Discard, os.Stdin)
		return err
	})
}

// other starts this binary as another program, and returns when it has told of its first step.
func other(t *testing.T, path, variable, value string) (stop func()) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), crashVariable+"="+path, variable+"="+value)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Fscanln(out, new(string), new(int64)); err != nil {
		t.Fatal(err)
	}
	return func() { in.Close(); cmd.Process.Kill(); cmd.Wait() }
}

// Another process is writing: this one is told so, by its type, and nothing is lost. A restore is not begun.
func TestBusyWithOtherProcess(t *testing.T) {
	s, car := used(t)
	b := backUp(t, s)
	before := dump(t, s)
	if _, err := s.db.Exec(`PRAGMA busy_timeout = 1`); err != nil { // instead of its five seconds
		t.Fatal(err)
	}
	stop := other(t, s.Path(), writeVariable, "1")
	defer stop()
	var busy *BusyError
	if _, err := s.PutNote(t.Context(), car.ID, "P0A08", Note{Text: "now"}); !errors.As(err, &busy) || !strings.Contains(err.Error(), "in use by another program") {
		t.Errorf("put note: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(t.Context(), s.Path(), bytes.NewReader(b), int64(len(b))); !errors.As(err, &busy) || busy.Path != s.Path() {
		t.Errorf("restore: %v", err)
	}
	stop()
	s = open(t, s.Path())
	if d := cmp.Diff(before, dump(t, s)); d != "" {
		t.Error(d)
	}
	if _, err := s.PutNote(t.Context(), car.ID, "P0A08", Note{Text: "later"}); err != nil {
		t.Error(err)
	}
}

// A program is killed at random moments of a restore: the store is the one that was there or the one of the back-up,
// whole, and the one that was there is never lost.
func TestKilledWhileRestoring(t *testing.T) {
	source, _ := used(t)
	file := filepath.Join(t.TempDir(), "back-up.zip")
	if err := os.WriteFile(file, backUp(t, source), 0o600); err != nil {
		t.Fatal(err)
	}
	want := dump(t, source)
	s := fresh(t)
	putCar(t, s, Car{Name: "Only here"})
	old := dump(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	bytesOfOld := contents(t, s.Path())
	random := rand.New(rand.NewPCG(5, 6))
	stayed, came := 0, 0
	within := 40 * time.Millisecond // of the moment of the kill; a slow computer gets more, until both ends have been seen
	for n := 0; n < 30 || n < 120 && (stayed == 0 || came == 0); n++ {
		if n%6 == 5 && came == 0 {
			within = min(2*within, 5*time.Second)
		}
		dir := t.TempDir()
		path := filepath.Join(dir, "readback.db")
		if err := os.WriteFile(path, []byte(bytesOfOld), 0o600); err != nil {
			t.Fatal(err)
		}
		step := map[string]map[int64]bool{"saved": {}, "finished": {}}
		killOnce(t, path, 0, time.Duration(random.Int64N(int64(within))), step, restoreVariable+"="+file)
		kept, err := filepath.Glob(path + ".before-restore-*")
		if err != nil {
			t.Fatal(err)
		}
		now := open(t, path)
		if left, err := filepath.Glob(path + ".restoring-*"); err != nil || len(left) > 0 {
			t.Errorf("left behind: %v, %v", left, err)
		}
		is := dump(t, now)
		switch {
		case cmp.Equal(old, is) && len(step["finished"]) == 0:
			stayed++
		case cmp.Equal(want, is) && len(kept) == 1:
			came++
			if contents(t, kept[0]) != bytesOfOld {
				t.Error("what was kept is not what was there")
			}
			recordings, err := now.Recordings(t.Context(), 2)
			if err != nil || len(recordings) != 2 || contents(t, now.RecordingPath(recordings[1])) != "frames of the change" {
				t.Errorf("recordings %v, %v", recordings, err)
			}
		default:
			t.Fatalf("neither the old store nor the new one: %v", is["car"])
		}
		if err := now.Close(); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d times the old store stayed, %d times the new one had come", stayed, came)
	if stayed == 0 || came == 0 {
		t.Errorf("%d and %d: the test tested half of what it says", stayed, came)
	}
}

// hotStore is a store whose program died while it wrote: some pages are changed already, and the rollback journal that
// undoes it lies beside it. It returns the rows as they are once that is undone.
func hotStore(t *testing.T) (path string, want map[string][]string) {
	t.Helper()
	s, car := used(t)
	want = dump(t, s)
	if _, err := s.db.Exec(`PRAGMA cache_size = 5; PRAGMA cache_spill = 1`); err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(t.TempDir(), "readback.db")
	stop := errors.New("stop")
	err := s.write(t.Context(), "half a visit", func(tx *sql.Tx) error {
		for i := range 400 {
			if _, err := tx.Exec(`INSERT INTO note (car, code, text, who, source) VALUES (?, 'P0A08', ?, '', '')`, car.ID, strings.Repeat("x", i)); err != nil {
				return err
			}
			if _, err := tx.Exec(`UPDATE car SET name = ?`, strings.Repeat("y", i)); err != nil {
				return err
			}
		}
		for _, end := range []string{"", "-journal"} {
			if err := os.WriteFile(path+end, []byte(contents(t, s.Path()+end)), 0o600); err != nil {
				return err
			}
		}
		return stop
	})
	if !errors.Is(err, stop) {
		t.Fatal(err)
	}
	return path, want
}

// What a dead program had begun is undone in the store that a restore keeps, and is never applied to the new one.
func TestRestoreOverHalfWrittenStore(t *testing.T) {
	source := fresh(t)
	putCar(t, source, Car{Name: "From the back-up"})
	b := backUp(t, source)
	path, want := hotStore(t)
	got, err := Restore(t.Context(), path, bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	if exists(path + "-journal") {
		t.Error("a rollback journal lies beside the new store")
	}
	if d := cmp.Diff(dump(t, source), dump(t, open(t, path))); d != "" {
		t.Error("restored:", d)
	}
	if d := cmp.Diff(want, dump(t, open(t, got.KeptAs))); d != "" {
		t.Error("kept:", d)
	}

	// The same with a store that is too damaged for it: both files are kept as they are.
	path, _ = hotStore(t)
	scribbled := strings.Repeat("scribbled over ", 1000)
	if err := os.WriteFile(path, []byte(scribbled), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path+"-journal", []byte("this too"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got, err = Restore(t.Context(), path, bytes.NewReader(b), int64(len(b))); err != nil {
		t.Fatal(err)
	}
	if contents(t, got.KeptAs) != scribbled || exists(path+"-journal") {
		t.Error("the damaged store was not kept as it was")
	}
	if d := cmp.Diff(dump(t, source), dump(t, open(t, path))); d != "" {
		t.Error("restored:", d)
	}
}

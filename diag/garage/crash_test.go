package garage

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// crashVariable makes the test binary the program that is killed; its value is the path of the store.
const crashVariable = "GARAGE_CRASH_STORE"

// holdVariable makes it plan one change and wait for the end of its input instead.
const holdVariable = "GARAGE_HOLD"

const failedByItself = 3

func TestMain(m *testing.M) {
	if path := os.Getenv(crashVariable); path != "" {
		work := writeForEver
		switch {
		case os.Getenv(holdVariable) != "":
			work = hold
		case os.Getenv(sendVariable) != "":
			work = sendForEver
		case os.Getenv(restoreVariable) != "":
			work = restoreOnce
		case os.Getenv(writeVariable) != "":
			work = holdWrite
		}
		if err := work(context.Background(), path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(failedByItself)
		}
	}
	os.Exit(m.Run())
}

// writeForEver plans and finishes changes and saves visits, and tells of each step once it is done.
func writeForEver(ctx context.Context, path string) error {
	s, err := Open(ctx, path)
	if err != nil {
		return err
	}
	car, ok, err := s.FindCar(ctx, "", "Van", false)
	if err != nil || !ok {
		return fmt.Errorf("no car: %w", err)
	}
	for {
		v, err := s.SaveVisit(ctx, fullVisit(car.ID))
		if err != nil {
			return err
		}
		fmt.Println("saved", v.ID)
		e, err := s.Begin(ctx, clearing(car.ID, v.ID))
		if err != nil {
			return err
		}
		fmt.Println("begun", e.ID)
		if err := s.Finish(ctx, e.ID, Accepted, []string{"54"}, time.Now()); err != nil {
			return err
		}
		fmt.Println("finished", e.ID)
	}
}

// A program is killed 20 times at random points. What it told of is in the store each time, every visit is whole, and
// what it had in the air has become an open question.
func TestKilled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback.db")
	s := open(t, path)
	car := putCar(t, s, Car{Name: "Van"})
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(2026, 11))
	told := map[string]map[int64]bool{"saved": {}, "begun": {}, "finished": {}}
	for kill := range 20 {
		killOnce(t, path, 1+random.IntN(9), time.Duration(random.IntN(6000))*time.Microsecond, told)
		s := open(t, path)
		if err := checkKilled(t.Context(), s, car.ID, told); err != nil {
			t.Fatalf("after kill %d: %v", kill+1, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if len(told["finished"]) == 0 {
		t.Fatal("nothing was ever finished: the test tested nothing")
	}
}

// killOnce starts the program and kills it some time after it has told of a number of steps.
func killOnce(t testing.TB, path string, steps int, after time.Duration, told map[string]map[int64]bool, more ...string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^$")
	cmd.Env = append(append(os.Environ(), crashVariable+"="+path), more...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for n := 0; lines.Scan(); n++ {
		var step string
		var id int64
		if _, err := fmt.Sscan(lines.Text(), &step, &id); err != nil {
			t.Fatalf("the program said %q: %v", lines.Text(), err)
		}
		told[step][id] = true
		if n == steps {
			time.AfterFunc(after, func() { cmd.Process.Kill() })
		}
	}
	if err := cmd.Wait(); err == nil || cmd.ProcessState.ExitCode() == failedByItself {
		t.Fatalf("the program ended by itself: %v", err)
	}
}

func checkKilled(ctx context.Context, s *Store, car int64, told map[string]map[int64]bool) error {
	list, err := s.Journal(ctx, car)
	if err != nil {
		return err
	}
	outcomes := map[int64]Outcome{}
	for _, e := range list {
		outcomes[e.ID] = e.Outcome
		if e.Outcome != Accepted && e.Outcome != Unknown {
			return fmt.Errorf("entry %d is %q", e.ID, e.Outcome)
		}
		if e.Outcome == Unknown && told["finished"][e.ID] {
			return fmt.Errorf("entry %d was finished and is unknown", e.ID)
		}
	}
	for id := range told["begun"] {
		if _, ok := outcomes[id]; !ok {
			return fmt.Errorf("entry %d was begun and is lost", id)
		}
	}
	for id := range told["saved"] {
		v, err := s.Visit(ctx, id) // with its checksum
		if err != nil {
			return err
		}
		if len(v.Modules) != 4 {
			return fmt.Errorf("visit %d has %d modules", id, len(v.Modules))
		}
	}
	return nil
}

// hold plans one change, tells of it, and keeps it in the air until its input ends. It does not close the store.
func hold(ctx context.Context, path string) error {
	s, err := Open(ctx, path)
	if err != nil {
		return err
	}
	e, err := s.Begin(ctx, clearing(1, 0))
	if err != nil {
		return err
	}
	fmt.Println("begun", e.ID)
	_, err = io.Copy(io.Discard, os.Stdin)
	return err
}

// Another process has a change in the air. As long as it lives the change is no open question here, neither at Open nor
// later; once it has been killed it is one.
func TestOtherProcessAlive(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback.db")
	s := open(t, path)
	car := putCar(t, s, Car{Name: "Van"})

	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), crashVariable+"="+path, holdVariable+"=1")
	cmd.Stderr = os.Stderr
	if _, err := cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var id int64
	if _, err := fmt.Fscanf(out, "begun %d\n", &id); err != nil {
		cmd.Process.Kill()
		t.Fatal(err)
	}
	later := open(t, path)
	for name, store := range map[string]*Store{"open before": s, "opened after": later} {
		if got := unknown(t, store); len(got) != 0 {
			t.Errorf("%s: a change that is in the air is doubted: %v", name, got)
		}
		if got := journal(t, store, car.ID); len(got) != 1 || got[0].Outcome != Planned {
			t.Errorf("%s: journal %+v", name, got)
		}
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err == nil || cmd.ProcessState.ExitCode() == failedByItself {
		t.Fatalf("the program ended by itself: %v", err)
	}
	if got := unknown(t, s); len(got) != 1 || got[0] != id {
		t.Errorf("after it was killed: open questions %v, want %d", got, id)
	}
}

package garage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// thoroughVariable makes the damage test go through every block instead of every eighth.
const thoroughVariable = "READBACK_THOROUGH"

const blockSize = 512

// smallStore is the bytes of a store with two visits and a change.
func smallStore(t *testing.T) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "readback.db")
	s := open(t, path)
	car := putCar(t, s, Car{Name: "Van", VIN: number})
	v := putVisit(t, s, fullVisit(car.ID))
	putVisit(t, s, fullVisit(car.ID))
	begin(t, s, clearing(car.ID, v.ID))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return []byte(contents(t, path))
}

// Whatever 512 bytes of the file are lost: the store either works, and tells which record was altered, or it is kept
// aside unchanged and an empty one takes its place.
func TestDamagedBlocks(t *testing.T) {
	good := smallStore(t)
	random := rand.New(rand.NewPCG(1, 2))
	every := 8
	if os.Getenv(thoroughVariable) != "" {
		every = 1
	}
	worked, kept := 0, 0
	for block := range len(good) / blockSize {
		// The sample walks through all places within the pages of the file, which are 8 blocks long.
		if block%every != block/every%every {
			continue
		}
		for name, fill := range map[string]func() byte{
			"zeros": func() byte { return 0 }, "ones": func() byte { return 0xFF }, "noise": func() byte { return byte(random.Uint32()) },
		} {
			bad := bytes.Clone(good)
			for i := range blockSize {
				bad[block*blockSize+i] = fill()
			}
			if openDamaged(t, fmt.Sprintf("block %d of %s", block, name), bad) {
				worked++
			} else {
				kept++
			}
		}
	}
	if worked == 0 || kept == 0 {
		t.Errorf("%d stores worked, %d were kept aside: the test tested half of what it says", worked, kept)
	}
}

func TestDamagedHeader(t *testing.T) {
	good := smallStore(t)
	for i := range 100 { // the header of an SQLite file, https://www.sqlite.org/fileformat2.html#the_database_header
		bad := bytes.Clone(good)
		bad[i] ^= 0xFF
		openDamaged(t, fmt.Sprintf("byte %d of the header", i), bad)
	}
}

func TestDamagedLength(t *testing.T) {
	good := smallStore(t)
	for _, n := range []int{1, 15, 100, 512, 4095, 4096, 8192, len(good) / 2, len(good) - 4096, len(good) - 1} {
		if openDamaged(t, fmt.Sprintf("cut after %d bytes", n), good[:n]) {
			t.Errorf("a store cut after %d of %d bytes was taken for whole", n, len(good))
		}
	}
	if openDamaged(t, "a text", []byte("Dear workshop, the charge flap stays shut.\n")) {
		t.Error("a text was taken for a store")
	}
}

// openDamaged opens a store of these bytes, and tells whether it opened.
func openDamaged(t *testing.T, what string, b []byte) bool {
	t.Helper()
	dir := t.TempDir()
	path := filepath.Join(dir, "readback.db")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), path)
	var damaged *DamagedError
	var newer *NewerError
	switch {
	case err == nil:
		if err := useAll(t.Context(), s); err != nil {
			t.Errorf("%s: the store opened, and then: %v", what, err)
		}
		if err := s.Close(); err != nil {
			t.Errorf("%s: %v", what, err)
		}
		return true
	case errors.As(err, &newer), errors.Is(err, ErrReadOnly): // the header may claim either
		if contents(t, path) != string(b) {
			t.Errorf("%s: the file was changed", what)
		}
		return false
	case !errors.As(err, &damaged):
		t.Errorf("%s: error %v is not of a type", what, err)
		return false
	}
	if !strings.Contains(err.Error(), damaged.KeptAs) || filepath.Dir(damaged.KeptAs) != dir {
		t.Errorf("%s: error %v does not name %q", what, err, damaged.KeptAs)
	}
	if contents(t, damaged.KeptAs) != string(b) {
		t.Errorf("%s: the file that was kept is not the one that was there", what)
	}
	s = open(t, path)
	if cars, err := s.Cars(t.Context()); err != nil || len(cars) != 0 {
		t.Errorf("%s: the new store has %d cars, %v", what, len(cars), err)
	}
	return false
}

// useAll reads and writes everything. A record may turn out to be altered; it is then told so.
func useAll(ctx context.Context, s *Store) error {
	cars, err := s.Cars(ctx)
	if err != nil {
		return err
	}
	for _, c := range cars {
		visits, err := s.Visits(ctx, c.ID)
		if err != nil {
			return err
		}
		for _, v := range visits {
			var altered *AlteredError
			if _, err := s.Visit(ctx, v.ID); err != nil && !errors.As(err, &altered) {
				return err
			}
		}
		if _, err := s.CodeHistory(ctx, c.ID); err != nil {
			return err
		}
		if _, err := s.Modules(ctx, c.ID); err != nil {
			return err
		}
		if _, err := s.Journal(ctx, c.ID); err != nil {
			return err
		}
	}
	c, err := s.PutCar(ctx, Car{Name: "Another"})
	if err != nil {
		return err
	}
	v, err := s.SaveVisit(ctx, fullVisit(c.ID))
	if err != nil {
		return err
	}
	_, err = s.Begin(ctx, clearing(c.ID, v.ID))
	return err
}

// A damaged store that another living program has open stays where it is.
func TestDamagedWhileOpen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback.db")
	open(t, path)
	if err := os.WriteFile(path, []byte("scribbled over"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Open(t.Context(), path)
	var damaged *DamagedError
	if !errors.As(err, &damaged) || damaged.KeptAs != "" || !strings.Contains(err.Error(), "another program") {
		t.Fatalf("error %v", err)
	}
	if contents(t, path) != "scribbled over" {
		t.Error("the file was changed")
	}
}

func TestKeptNamesDoNotCollide(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback.db")
	kept := map[string]bool{}
	for n := range 3 {
		text := fmt.Sprint("damaged ", n)
		for _, p := range []string{path, path + "-journal"} {
			if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		var damaged *DamagedError
		if err := setAside(path, errForeign); !errors.As(err, &damaged) || kept[damaged.KeptAs] {
			t.Fatalf("error %v", err)
		}
		kept[damaged.KeptAs] = true
		if contents(t, damaged.KeptAs) != text || contents(t, damaged.KeptAs+"-journal") != text {
			t.Error("kept something else")
		}
	}
}

package diag_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/gate"
)

// altering is the practice car on a bus where requests are altered or lost on the way.
type altering struct {
	adapter.Driver
	let func(*can.Frame) bool // false: the frame is lost
}

type alteredConn struct {
	adapter.Frames
	adapter.Supply
	bus *alteredBus
}

func (c *alteredConn) Bus() bus.Bus { return c.bus }

type alteredBus struct {
	bus.Bus
	let func(*can.Frame) bool
}

func (b *alteredBus) Send(ctx context.Context, f can.Frame) error {
	if !b.let(&f) {
		return nil
	}
	return b.Bus.Send(ctx, f)
}

func (d *altering) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	c, err := d.Driver.Open(ctx, p, o)
	if err != nil {
		return nil, err
	}
	f := c.(adapter.Frames)
	return &alteredConn{Frames: f, Supply: c.(adapter.Supply), bus: &alteredBus{f.Bus(), d.let}}, nil
}

// listOf tells whether a frame asks a module for its list of codes by service 19.
func listOf(f *can.Frame, id uint32) bool {
	return f.ID == id && f.Data[0] == 3 && f.Data[1] == 0x19 && f.Data[2] == 0x02
}

// driveFates sends the erase to the charging module while the drive's list is altered, and returns where the drive's codes
// have gone in the reading after it. One of them is confirmed (bit 3), the other pending (bit 2).
func driveFates(t *testing.T, s *garage.Store, alter func(*can.Frame) bool) (*diag.Result, map[string][]string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "car.json")
	doc := `{"version": 1, "base": "courier", "modules": {"drive": {"codes": {"U0111-00": {"status": "24"}}}}}`
	if err := os.WriteFile(file, []byte(doc), 0o600); err != nil {
		t.Fatal(err)
	}
	sending := false
	v := openVisit(t, s, adapter.Place("practice:"+file), &altering{practice.Driver(), func(f *can.Frame) bool { return !sending || !listOf(f, 0x7E0) || alter(f) }})
	defer v.Close()
	look(t, v)
	e := v.Explain(clearCharging, "")
	v.Say(gate.NotCharging)
	v.Say(gate.SafetyRead)
	v.SayBack(e.Words[0])
	sending = true
	for _, err := range v.Send(t.Context(), e) {
		if err != nil {
			t.Fatal(err)
		}
	}
	r := v.Result()
	if r.ReadBack == nil {
		t.Fatalf("no reading after it: %+v", r)
	}
	out := map[string][]string{}
	for name, fates := range map[string][]diag.Fate{"gone": r.ReadBack.Gone, "back": r.ReadBack.Back, "unchanged": r.ReadBack.Unchanged,
		"new": r.ReadBack.New, "unknown": r.ReadBack.Unknown} {
		for _, f := range fates {
			if f.Module == "Drive" {
				out[name] = append(out[name], f.Code)
			}
		}
	}
	return r, out
}

var driveCodes = []string{"P0562-00", "U0111-00"}

// TestListLostAfterChange: a module whose list is lost has not lost its codes, although it would list some of them by older
// services.
func TestListLostAfterChange(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		_, fates := driveFates(t, s, func(*can.Frame) bool { return false })
		if len(fates) != 1 || !slices.Equal(fates["unknown"], driveCodes) {
			t.Errorf("the drive's codes: %v", fates)
		}
	})
}

// TestListLostOnce: what is lost once is asked for again.
func TestListLostOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		lost := 0
		_, fates := driveFates(t, s, func(*can.Frame) bool { lost++; return lost > 1 })
		if len(fates) != 1 || !slices.Equal(fates["unchanged"], driveCodes) {
			t.Errorf("the drive's codes: %v", fates)
		}
	})
}

// TestListConfirmed: a fault that a list after a change is without is called gone only when another list is without it too.
// A request for other bits stands for an answer that nobody can tell from the truth.
func TestListConfirmed(t *testing.T) {
	const all, none, first, second = 0xFF, 0x00, 0x08, 0x04
	for _, c := range []struct {
		name  string
		masks []byte // asked for one after another, then all
		want  map[string][]string
		lists int
	}{
		{"true", []byte{all}, map[string][]string{"unchanged": driveCodes}, 1},
		{"one false", []byte{none, all}, map[string][]string{"unchanged": driveCodes}, 2},
		{"two that agree", []byte{none, none}, map[string][]string{"gone": driveCodes}, 2},
		{"the second is true, and the first only told a part", []byte{first, all}, map[string][]string{"unchanged": driveCodes}, 2},
		{"contradiction, then true", []byte{first, second, all}, map[string][]string{"unchanged": driveCodes}, 3},
		{"contradiction to the end", []byte{first, second, first}, map[string][]string{"unknown": driveCodes}, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				lists := 0
				_, fates := driveFates(t, s, func(f *can.Frame) bool {
					if lists < len(c.masks) {
						f.Data[3] = c.masks[lists]
					}
					lists++
					return true
				})
				if !reflect.DeepEqual(fates, c.want) || lists != c.lists {
					t.Errorf("the drive's codes: %v after %d lists; want %v after %d", fates, lists, c.want, c.lists)
				}
			})
		})
	}
}

// TestConfirmingIsTold: the second reading counts on from the first.
func TestConfirmingIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		look(t, v)
		e := v.Explain(clearCharging, "")
		v.Say(gate.NotCharging)
		v.Say(gate.SafetyRead)
		v.SayBack(e.Words[0])
		var done []int
		last, at := diag.Progress{}, time.Now()
		for step, err := range v.Send(t.Context(), e) {
			if err != nil {
				t.Fatal(err)
			}
			if p := step.Progress; p != nil && p.Stage == diag.StageCodes {
				done, last, at = append(done, p.Done), *p, time.Now()
			}
		}
		if took := time.Since(at); took >= time.Second {
			t.Errorf("%v after the last list, with none to be read again", took)
		}
		r, _ := v.Record()
		first := len(r.Modules)
		if len(done) != first+1 || last.Done != first+1 || last.Total != first+1 || last.Module != "Charging" || last.Answered != first {
			t.Errorf("%v, last %+v, of %d modules of which one has lost codes", done, last, first)
		}
	})
}

// TestOtherServicesAfterChange: a module that suddenly refuses service 19 is read by older services. Their list names codes
// without their failure types, and not all of them: it says nothing of those read before, neither now nor in the history.
func TestOtherServicesAfterChange(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		r, fates := driveFates(t, s, func(f *can.Frame) bool { f.Data[2] = 0x7E; return true }) // a report that nobody knows
		if len(fates) != 1 || !slices.Equal(fates["unknown"], driveCodes) {
			t.Errorf("the drive's codes: %v", fates)
		}
		visit, err := s.Visit(t.Context(), r.Visit)
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(visit.Modules, func(m garage.Module) bool { return m.Name == "Drive" })
		if m := visit.Modules[i]; m.Protocol != "OBD" || m.CodesRead != garage.Yes {
			t.Errorf("the drive was read by %s: %s", m.Protocol, m.CodesRead)
		}
		h, err := s.CodeHistory(t.Context(), visit.CarID)
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range h.Codes {
			if line.Module == "Drive" && slices.Contains(driveCodes, line.Code.String()) && line.Marks[1].Read != garage.NotAsked {
				t.Errorf("%s in the history: %+v", line.Code, line.Marks[1])
			}
		}
	})
}

// TestPulledInDetails: the adapter is pulled while the snapshots of a module are read. Its list has been read, and is kept.
func TestPulledInDetails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		d := &cutDriver{Driver: practice.Driver(), pull: func(f can.Frame) bool { return f.ID == 0x7E0 && f.Data[1] == 0x19 && f.Data[2] == 0x04 }}
		v := openVisit(t, s, "practice:", d)
		defer v.Close()
		var failed error
		for _, err := range v.Look(t.Context(), "") {
			failed = errors.Join(failed, err)
		}
		if !errors.Is(failed, bus.ErrGone) {
			t.Fatalf("Look: %v", failed)
		}
		r, _ := v.Record()
		for _, m := range r.Modules {
			if m.Name == "Drive" && m.CodesRead == garage.Yes && len(m.Codes) == 0 {
				t.Errorf("the drive shows no codes: %+v", m)
			}
		}
	})
}

// TestStoredLost: without its stored codes, the other lists of an OBD car would look like a car without faults.
func TestStoredLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		file := filepath.Join(t.TempDir(), "runner.json")
		doc := `{"version": 1, "base": "runner", "modules": {"gearbox": null, "brakes": null,
			"engine": {"refuse": [{"request": "19", "nrc": "11"}, {"request": "18", "nrc": "11"}, {"request": "13", "nrc": "11"}]}}}`
		if err := os.WriteFile(file, []byte(doc), 0o600); err != nil {
			t.Fatal(err)
		}
		v := openVisit(t, s, adapter.Place("practice:"+file), &altering{practice.Driver(), func(f *can.Frame) bool { return f.Data[0] != 1 || f.Data[1] != 0x03 }})
		defer v.Close()
		look(t, v)
		r, _ := v.Record()
		if len(r.Modules) != 1 {
			t.Fatalf("modules: %+v", r.Modules)
		}
		for _, m := range r.Modules {
			if m.CodesRead == garage.Yes || len(m.Codes) > 0 {
				t.Errorf("%s: codes read without the stored ones: %+v", m.Request, m.Codes)
			}
		}
	})
}

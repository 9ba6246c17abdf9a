package app

import (
	"context"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/explain"
	"readback/diag/garage"
)

// TestStorm clicks and types at random, with the real engine and the practice car behind the window, so that the race
// detector sees both at work. What the visits sent as changes must stand in the journal, each once.
func TestStorm(t *testing.T) {
	t.Setenv("HOME", t.TempDir()) // whatever is saved is saved there
	t.Chdir(t.TempDir())
	store, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if err := UseLanguage("en"); err != nil {
		t.Fatal(err)
	}
	drivers := []adapter.Driver{practice.Driver()}
	var visits []*diag.Visit
	opened := make(chan *diag.Visit, 256)
	e := Engine{
		Find: func(ctx context.Context) ([]adapter.Found, error) { return diag.Find(ctx, drivers) },
		Open: func(ctx context.Context, p adapter.Place, tell func(adapter.Rung)) (Visit, error) {
			v, err := diag.Open(ctx, diag.Options{Place: p, Drivers: drivers, Store: store, Tell: tell})
			if err == nil {
				opened <- v
			}
			return v, err
		},
		Explain: diag.Explain,
		Compare: func(a, b string) explain.Comparison { return explain.Compare(a, b, explain.Options{}) },
		Log:     store,
	}
	win := test.NewTempWindow(t, nil)
	win.Resize(fyne.NewSize(1280, 820))
	queue := make(chan func(), 1<<16)
	w := New(test.NewTempApp(t), win, e, Options{Taste: Taste{Factor: 1}, Place: "practice:", Do: func(f func()) { queue <- f }})
	turn := func(at least) {
		for done := 0; ; done++ {
			select {
			case f := <-queue:
				f()
			default:
				if done >= int(at) {
					return
				}
				select {
				case f := <-queue:
					f()
				case <-time.After(20 * time.Second):
					t.Fatal("the window waits for what never comes")
				}
			}
		}
	}
	s := &gale{win: win, dice: rand.New(rand.NewPCG(7, 7))}
	turn(20) // the practice car is being connected
	for range 400 {
		s.blow()
		turn(0)
	}
	closed := make(chan error, 1)
	go func() { closed <- w.Close() }()
	for ended := false; !ended; {
		select {
		case f := <-queue:
			f()
		case err := <-closed:
			if err != nil {
				t.Error(err)
			}
			ended = true
		}
	}
	close(opened)
	changes := 0
	for v := range opened {
		visits = append(visits, v)
		changes += v.Tally().Changes
	}
	cars, err := store.Cars(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for _, c := range cars {
		journal, err := store.Journal(t.Context(), c.ID)
		if err != nil {
			t.Fatal(err)
		}
		rows += len(journal)
	}
	if len(visits) == 0 || rows != changes {
		t.Errorf("%d visits sent %d changes; the journal has %d", len(visits), changes, rows)
	}
}

// least is how many calls to the window's thread are waited for.
type least int

// gale is somebody who clicks and types at random.
type gale struct {
	win  fyne.Window
	dice *rand.Rand
}

func (s *gale) blow() {
	c := s.win.Canvas()
	at := func() fyne.Position {
		return fyne.NewPos(s.dice.Float32()*c.Size().Width, s.dice.Float32()*c.Size().Height)
	}
	switch n := s.dice.IntN(100); {
	case n < 45:
		test.TapCanvas(c, at())
	case n < 50:
		test.Scroll(c, at(), 0, s.dice.Float32()*400-200)
	case n < 55:
		test.Drag(c, at(), s.dice.Float32()*100, s.dice.Float32()*100)
	case n < 65:
		c.FocusNext()
	case n < 70:
		keys := []fyne.KeyName{fyne.Key0, fyne.Key1, fyne.Key2, fyne.Key3, fyne.Key4, fyne.Key5, fyne.Key6, fyne.KeyL, fyne.KeyT, fyne.KeyH, fyne.KeyP}
		if h, ok := c.(fyne.Shortcutable); ok {
			h.TypedShortcut(&desktop.CustomShortcut{KeyName: keys[s.dice.IntN(len(keys))], Modifier: fyne.KeyModifierControl})
		}
	case n < 80:
		text := []string{clearText, "7E5 03 22 F1 90", "snow", "12,4", "P0A08", "7DF 01 04", "zz", "%s"}
		if f := c.Focused(); f != nil {
			test.Type(f, text[s.dice.IntN(len(text))])
		}
	default:
		keys := []fyne.KeyName{fyne.KeyReturn, fyne.KeySpace, fyne.KeySpace, fyne.KeyEscape, fyne.KeyUp, fyne.KeyDown, fyne.KeyLeft, fyne.KeyRight, fyne.KeyPageDown, fyne.KeyBackspace, fyne.KeyDelete}
		k := &fyne.KeyEvent{Name: keys[s.dice.IntN(len(keys))]}
		if f := c.Focused(); f != nil {
			f.TypedKey(k)
		} else if typed := c.OnTypedKey(); typed != nil {
			typed(k)
		}
	}
}

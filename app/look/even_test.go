package look

import (
	"fmt"
	"slices"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/test"
)

// evenRows are n rows, of which some are odd. It counts what is measured and built.
type evenRows struct {
	n, measured, built int
	odd                []int
}

func (e *evenRows) Len() int                   { return e.n }
func (e *evenRows) Heading(int) bool           { return false }
func (e *evenRows) EvenHeight(float32) float32 { return 39 }
func (e *evenRows) Odd(float32) []int          { return e.odd }

func (e *evenRows) Height(i int, _ float32) float32 {
	e.measured++
	return float32(99 + i%2)
}

func (e *evenRows) Build(i int) fyne.CanvasObject {
	e.built++
	return Body(fmt.Sprint(i))
}

// TestEvenRows: the rows are where measuring every one would put them, and only those in sight are built.
func TestEvenRows(t *testing.T) {
	newApp(t)
	rows := &evenRows{n: 20_000, odd: []int{0, 7, 8, 19_999}}
	m := NewMany("rows", func(int) {})
	m.Fill(rows, -1)
	s := NewScroller(m)
	win := test.NewTempWindow(t, s.Object)
	win.SetPadded(false)
	win.Resize(fyne.NewSize(400, 600))
	s.settle()
	y := float32(0)
	for i := range rows.n {
		if m.top(i) != y || m.at(y) != i || m.at(y+5) != i {
			t.Fatalf("row %d is at %.1f, want %.1f; there is row %d", i, m.top(i), y, m.at(y))
		}
		y += 40
		if i == 0 || i == 8 {
			y += 60
		} else if i == 7 || i == 19_999 {
			y += 61
		}
	}
	if h := m.HeightFor(400); h != y+1 {
		t.Errorf("all are %.1f high, want %.1f", h, y+1)
	}
	if rows.measured > 100 || rows.built > 500 {
		t.Errorf("%d rows were measured and %d built", rows.measured, rows.built)
	}
	m.TypedKey(&fyne.KeyEvent{Name: fyne.KeyEnd})
	if m.Chosen() != rows.n-1 || !s.AtEnd() {
		t.Errorf("End chooses %d", m.Chosen())
	}
	if m.built[rows.n-1] == nil || m.built[0] != nil {
		t.Error("what is in sight is not built, or what is out of sight is kept")
	}
	s.ToTop()
	if m.built[0] == nil {
		t.Error("the top is in sight and is not built")
	}
}

// TestEvenOpens: a row is opened by Return and by a second tap, and keys that lead out of the column are told.
// Laying a column out again changes none of its objects and moves none: otherwise Fyne draws one frame after the other.
func TestManyComesToRest(t *testing.T) {
	newApp(t)
	m := NewMany("rows", func(int) {})
	m.Fill(&evenRows{n: 50}, 3)
	m.Resize(fyne.NewSize(400, m.HeightFor(400)))
	m.see(100, 700)
	m.FocusGained()
	r := test.WidgetRenderer(m)
	type place struct {
		o    fyne.CanvasObject
		at   fyne.Position
		size fyne.Size
	}
	places := func() (out []place) {
		for _, o := range r.Objects() {
			out = append(out, place{o, o.Position(), o.Size()})
		}
		return out
	}
	before := places()
	r.Layout(m.Size())
	if after := places(); len(before) < 10 || !slices.Equal(before, after) {
		t.Errorf("%d objects, then %d others or elsewhere", len(before), len(after))
	}
}

// movable counts how often it is moved.
type movable struct {
	canvas.Rectangle
	moves int
}

func (m *movable) Move(at fyne.Position) {
	m.moves++
	m.Rectangle.Move(at)
}

// A layout moves nothing to where it stands: Fyne would draw the window again.
func TestNothingMovesInPlace(t *testing.T) {
	newApp(t)
	a, b := &movable{}, &movable{}
	a.SetMinSize(fyne.NewSize(20, 10))
	b.SetMinSize(fyne.NewSize(20, 10))
	for name, c := range map[string]*fyne.Container{
		"stack": Stack(4, a, b), "row": Row(4, Natural(a), Growing(b)), "wrap": Wrap(4, a, b), "rows": Rows(a, b),
		"pad": Pad(1, 2, 3, 4, a), "sides": Sides(4, 10, true, a, b), "either": Either(50, a, b), "under": Ground(Rail, a),
	} {
		c.Resize(fyne.NewSize(200, 100))
		a.moves, b.moves = 0, 0
		c.Layout.Layout(c.Objects, c.Size())
		if a.moves+b.moves > 0 {
			t.Errorf("%s moves what stands", name)
		}
	}
}

func TestEvenOpens(t *testing.T) {
	newApp(t)
	var opened []int
	var out []string
	m := NewMany("rows", func(int) {}).Opens(func(i int) { opened = append(opened, i) }).
		Beyond(func(by int, all bool) bool { out = append(out, fmt.Sprint(by, all)); return true })
	m.Fill(&evenRows{n: 3}, -1)
	m.Resize(fyne.NewSize(300, 300))
	test.WidgetRenderer(m).Layout(fyne.NewSize(300, 300))
	tap := func(y float32) { m.Tapped(&fyne.PointEvent{Position: fyne.NewPos(10, y)}) }
	tap(45)
	if len(opened) != 0 || m.Chosen() != 1 {
		t.Fatalf("a first tap chooses: %v, %d", opened, m.Chosen())
	}
	tap(45)
	m.TypedKey(&fyne.KeyEvent{Name: fyne.KeyReturn})
	if fmt.Sprint(opened) != "[1 1]" {
		t.Errorf("opened %v", opened)
	}
	for _, k := range []fyne.KeyName{fyne.KeyDown, fyne.KeyDown, fyne.KeyPageDown, fyne.KeyUp, fyne.KeyUp, fyne.KeyUp, fyne.KeyEnd, fyne.KeyHome} {
		m.TypedKey(&fyne.KeyEvent{Name: k})
	}
	if got := fmt.Sprint(out); got != "[1 false 1 false -1 false 1 true -1 true]" {
		t.Errorf("told %v", got)
	}
	m.Fill(&evenRows{}, -1)
	m.TypedKey(&fyne.KeyEvent{Name: fyne.KeyDown})
	if m.HeightFor(300) != 0 {
		t.Error("no rows have a height")
	}
}

// TestCut: one row that fits whole stays whole; one that does not ends in an ellipsis within its room.
func TestCut(t *testing.T) {
	newApp(t)
	c := NewCut(Run{Text: "14:02", Style: Style{Size: SizeFine}}, Run{Text: "  a long name of a module", Style: Style{Bold: true}})
	if got := c.shown(c.natural()); len(got) != 2 || got[1].Text != "  a long name of a module" {
		t.Errorf("%+v", got)
	}
	for w := range 200 {
		width, end := float32(w), float32(0)
		shown := c.shown(width)
		for _, p := range shown {
			end = p.x + p.w
		}
		if end > width+1 {
			t.Errorf("in %d it reaches to %.1f", w, end)
		}
		if n := len(shown); n > 0 && width+1 < c.natural() && shown[n-1].Text[len(shown[n-1].Text)-len(ellipsis):] != ellipsis {
			t.Errorf("in %d it ends with %q", w, shown[n-1].Text)
		}
	}
}

// TestLoudest: of very many voices the loudest are drawn, in their order, and the chosen one.
func TestLoudest(t *testing.T) {
	var all []Voice
	for i := range 300 {
		all = append(all, Voice{Name: fmt.Sprint(i), Share: float64(i%150) / 1000, Chosen: i == 150})
	}
	got := loudest(all, 3)
	if len(got) != 3 || got[0].Name != "149" || got[1].Name != "150" || got[2].Name != "299" {
		t.Errorf("%+v", got)
	}
}

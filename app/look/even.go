package look

import (
	"sort"

	"fyne.io/fyne/v2"
)

// Even is a [Column] whose rows have one height, all but a few. It has no headings, and none of its rows is measured
// but those few, so that it can hold as many rows as the places of a screen can tell apart: some 100,000. What holds
// more is shown in parts; see [Many.Beyond].
type Even interface {
	Column
	// EvenHeight is the height of all rows but the odd ones.
	EvenHeight(width float32) float32
	// Odd are the rows that have a Height of their own at a width, in ascending order.
	Odd(width float32) []int
}

// evenTops tells where the rows of an [Even] begin.
type evenTops struct {
	n     int
	pitch float32 // from row to row
	odd   []int
	above []float32 // of odd row k: how high the odd rows before it are together; one more for all
}

func (t *evenTops) measure(e Even, width float32) {
	t.n, t.pitch, t.odd = e.Len(), e.EvenHeight(width)+1, e.Odd(width)
	t.above = append(t.above[:0], 0)
	for k, i := range t.odd {
		t.above = append(t.above, t.above[k]+e.Height(i, width)+1)
	}
}

func (t *evenTops) top(i int) float32 {
	k := sort.SearchInts(t.odd, i)
	return float32(i-k)*t.pitch + t.above[k]
}

// places is how many rows have a place.
func (m *Many) places() int {
	if m.even.n > 0 {
		return m.even.n
	}
	return max(0, len(m.tops)-1)
}

// top is where a row begins, or where the last one ends.
func (m *Many) top(i int) float32 {
	if m.even.n > 0 {
		return m.even.top(i)
	}
	return m.tops[i]
}

// Opens lets rows be opened: open is told of a row that is tapped while it is chosen, or on which Return or Space is
// pressed.
func (m *Many) Opens(open func(i int)) *Many { m.open = open; return m }

// AtOnce lets a tap open a row whether or not it was chosen before.
func (m *Many) AtOnce() *Many { m.atOnce = true; return m }

// Beyond lets a column be one part of a longer one. f is told of a key that leads out of it, by 1 downwards and by -1
// upwards, with all when it leads to the very end; it tells whether there was more.
func (m *Many) Beyond(f func(by int, all bool) bool) *Many { m.beyond = f; return m }

// goBeyond asks whether a key leads out of the column; next is where it would lead within it.
func (m *Many) goBeyond(key fyne.KeyName, next int) bool {
	if m.beyond == nil {
		return false
	}
	out := next < 0 || next == m.chosen
	switch key {
	case fyne.KeyHome:
		return m.beyond(-1, true)
	case fyne.KeyEnd:
		return m.beyond(1, true)
	case fyne.KeyUp, fyne.KeyPageUp:
		return out && m.beyond(-1, false)
	case fyne.KeyDown, fyne.KeyPageDown:
		return out && m.beyond(1, false)
	}
	return false
}

// Show scrolls the chosen row into view.
func (m *Many) Show() { m.reveal() }

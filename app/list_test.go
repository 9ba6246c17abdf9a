package app

import (
	"testing"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/dtc"
)

// crowdedVisit is the scripted visit with n codes in each of its modules that holds any.
func crowdedVisit(n int) *fakeVisit {
	v := vanVisit()
	for i := range v.modules {
		m := &v.modules[i]
		if len(m.Views) == 0 {
			continue
		}
		views := []diag.CodeView{}
		for k := range n {
			status := dtc.Status(0x2F)
			if k%3 > 0 {
				status = 0x28
			}
			views = append(views, code(dtc.From3(0xC1, byte(k>>4), byte(k)), status))
		}
		m.Views = views
	}
	return v
}

// A list of thousands builds only the rows in sight, and the keyboard walks all of it.
func TestCrowdedList(t *testing.T) {
	b := newBench(t, setup{visit: crowdedVisit(700)})
	b.read()
	b.says("2100 codes")
	if shown := len(reads(b.w.main.Object)); shown > 20_000 {
		t.Errorf("the page holds %d letters: too many rows are built", shown)
	}
	b.win.Canvas().Focus(look.Find(b.w.main.Object, "codes"))
	b.key(fyne.KeyEnd)
	last := b.w.code.column.rows[b.w.code.column.Len()-1]
	if b.w.code.chosen != codeKey(last.module, last.view) {
		t.Errorf("the end is %q", b.w.code.chosen)
	}
	b.says(last.module.Name)
	b.key(fyne.KeyHome)
	seen := map[string]bool{b.w.code.chosen: true}
	for range 3 * 700 {
		b.key(fyne.KeyPageDown)
		if seen[b.w.code.chosen] {
			break
		}
		seen[b.w.code.chosen] = true
	}
	if b.w.code.chosen != codeKey(last.module, last.view) || len(seen) < 50 {
		t.Errorf("%d pages lead to %q", len(seen), b.w.code.chosen)
	}
}

func TestFindInList(t *testing.T) {
	b := newBench(t, setup{visit: crowdedVisit(20)})
	b.read()
	all := b.w.code.column.codes()
	count := func(f filter, search string) int {
		b.w.code.filter = f
		b.w.code.search.SetText(search)
		b.w.siftCodes()
		b.w.draw()
		return b.w.code.column.codes()
	}
	parts := 0
	for _, f := range filters[1:] {
		n := count(f, "")
		if n == 0 || n == all {
			if f != filterUnknown {
				t.Errorf("%s shows %d of %d", f, n, all)
			}
		}
		parts += n
	}
	if parts != all {
		t.Errorf("the filters together show %d of %d", parts, all)
	}
	if n := count(filterAll, "charging"); n == 0 || n >= all {
		t.Errorf("a module's name finds %d of %d", n, all)
	}
	if n := count(filterAll, "CHARGING u0"); n == 0 {
		t.Error("two words find nothing")
	}
	if n := count(filterAll, "no such thing"); n != 0 {
		t.Errorf("nonsense finds %d", n)
	}
	b.says("No code here fits")
	b.saysNot("No codes in this car")
	if n := count(filterAll, ""); n != all {
		t.Errorf("without a search %d of %d are shown", n, all)
	}
}

// Every pattern that the engine finds has a head.
func TestPatternHeads(t *testing.T) {
	known := messages(t, "en")
	for _, key := range []string{diag.PatternSupply, diag.PatternSilent, diag.PatternMissed, diag.PatternUnclear, diag.PatternBattery, diag.PatternBefore, diag.PatternEvent, diag.PatternSameCode, diag.PatternNoResult} {
		if known["pattern."+key] == nil {
			t.Errorf("the pattern %s has no head", key)
		}
	}
}

// BenchmarkCrowdedPage builds the page of 2,100 codes anew, and scrolls it.
func BenchmarkCrowdedPage(b *testing.B) {
	for _, what := range []string{"draw", "key"} {
		b.Run(what, func(b *testing.B) {
			x := newBench(b, setup{visit: crowdedVisit(700)})
			x.read()
			list := x.w.code.list
			for n := 0; b.Loop(); n++ {
				switch what {
				case "draw":
					x.w.draw()
				case "key":
					key := fyne.KeyPageDown
					if n/90%2 == 1 {
						key = fyne.KeyPageUp
					}
					list.TypedKey(&fyne.KeyEvent{Name: key})
				}
			}
		})
	}
}

// BenchmarkTurn turns from page to page of a visit with 2,100 codes.
func BenchmarkTurn(b *testing.B) {
	x := newBench(b, setup{visit: crowdedVisit(700)})
	x.read()
	pages := append(append([]Page{PageCar}, steps...), beside...)
	for n := 0; b.Loop(); n++ {
		x.w.Show(pages[n%len(pages)])
	}
}

package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"

	"readback/diag/garage"
)

// menuState is the main menu as it stands in the window.
type menuState struct {
	shows  string // what it says, to tell whether it has to be made anew
	recent []garage.Car
}

// mostRecent is how many cars the menu lists.
const mostRecent = 8

// readRecent reads which cars the logbook knows, those with the newest visits first.
func (w *Window) readRecent() {
	log := w.engine.Log
	if log == nil {
		return
	}
	w.act(func(ctx context.Context) func() {
		cars, err := log.Cars(ctx)
		newest := map[int64]time.Time{}
		for _, c := range cars {
			visits, e := log.Visits(ctx, c.ID)
			err = errors.Join(err, e)
			newest[c.ID] = c.Made
			if len(visits) > 0 {
				newest[c.ID] = visits[0].Begun
			}
		}
		slices.SortStableFunc(cars, func(a, b garage.Car) int { return newest[b.ID].Compare(newest[a.ID]) })
		return func() {
			if err == nil {
				w.menu.recent = cars
			}
		}
	})
}

// openBook turns to the logbook of one car.
func (w *Window) openBook(car int64) {
	w.logs.chosen = car
	w.Show(PageLogbook)
}

// setMenu gives the window its main menu, unless it has the same already.
func (w *Window) setMenu() {
	var built []*fyne.Menu
	var shows strings.Builder
	for _, name := range menus {
		m := fyne.NewMenu(T(name))
		var keyed []*fyne.MenuItem
		var keys []string
		fmt.Fprintln(&shows, m.Label)
		for _, c := range commands() {
			if c.menu != name {
				continue
			}
			if c.parted {
				m.Items = append(m.Items, fyne.NewMenuItemSeparator())
			}
			i := fyne.NewMenuItem(T(c.text), func() { w.run(c) })
			i.IsQuit = c.quits
			i.Checked = c.chosen != nil && c.chosen(w)
			i.Disabled = c.can != nil && !c.can(w)
			switch {
			case c.key == "":
			case w.opt.System == "darwin": // there the system draws the menu
				i.Shortcut = &desktop.CustomShortcut{KeyName: c.key, Modifier: c.mod}
			default:
				keyed, keys = append(keyed, i), append(keys, c.keyText())
			}
			m.Items = append(m.Items, i)
			fmt.Fprintln(&shows, i.Label, i.Checked, i.Disabled, w.opt.Taste.Factor)
		}
		if name == "menu.car" {
			w.addRecent(m, &shows)
		}
		alignKeys(keyed, keys)
		built = append(built, m)
	}
	if shows.String() != w.menu.shows {
		w.menu.shows = shows.String()
		w.win.SetMainMenu(fyne.NewMainMenu(built...))
	}
}

// alignKeys writes the keys behind the texts of a menu, flush right. The menu's own way paints them too pale to be read.
func alignKeys(items []*fyne.MenuItem, keys []string) {
	wide := func(s string) float32 { return fyne.MeasureText(s, theme.TextSize(), fyne.TextStyle{}).Width }
	gap, most := wide(" "), float32(0)
	for n, i := range items {
		most = max(most, wide(i.Label)+wide(keys[n])+4*gap)
	}
	for n, i := range items {
		room := most - wide(i.Label) - wide(keys[n])
		i.Label += strings.Repeat(" ", int(room/gap+0.5)) + keys[n]
	}
}

// addRecent lists the cars that the logbook knows.
func (w *Window) addRecent(m *fyne.Menu, shows *strings.Builder) {
	for n, c := range w.menu.recent[:min(mostRecent, len(w.menu.recent))] {
		if n == 0 {
			m.Items = append(m.Items, fyne.NewMenuItemSeparator())
		}
		name := c.Name
		if c.Practice {
			name = T("log.practice", "Name", c.Name)
		}
		m.Items = append(m.Items, fyne.NewMenuItem(name, func() { w.openBook(c.ID) }))
		fmt.Fprintln(shows, c.ID, name)
	}
}

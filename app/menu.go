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
	if shows := w.menuShows(); shows != w.menu.shows {
		w.menu.shows = shows
		w.win.SetMainMenu(w.buildMenu())
	}
}

// menuShows is all that the menus show, to tell whether it has changed.
func (w *Window) menuShows() string {
	var shows strings.Builder
	fmt.Fprintln(&shows, Spoken(), w.opt.Taste.Factor)
	for _, c := range w.commands {
		fmt.Fprint(&shows, c.chosen != nil && c.chosen(w), c.can == nil || c.can(w), " ")
	}
	for _, c := range w.menu.listed() {
		fmt.Fprintln(&shows, c.ID, c.Name)
	}
	return shows.String()
}

func (w *Window) buildMenu() *fyne.MainMenu {
	var built []*fyne.Menu
	for _, name := range menus {
		m := fyne.NewMenu(T(name))
		var keyed []*fyne.MenuItem
		var keys []string
		for _, c := range w.commands {
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
		}
		if name == "menu.car" {
			w.addRecent(m)
		}
		alignKeys(keyed, keys)
		built = append(built, m)
	}
	return fyne.NewMainMenu(built...)
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

// listed are the cars that a menu has room for.
func (m *menuState) listed() []garage.Car { return m.recent[:min(mostRecent, len(m.recent))] }

// addRecent lists the cars that the logbook knows.
func (w *Window) addRecent(m *fyne.Menu) {
	for n, c := range w.menu.listed() {
		if n == 0 {
			m.Items = append(m.Items, fyne.NewMenuItemSeparator())
		}
		name := listedCar(c)
		m.Items = append(m.Items, fyne.NewMenuItem(name, func() { w.openBook(c.ID) }))
	}
}

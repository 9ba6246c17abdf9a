package app

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"

	"readback/app/look"
	"readback/diag/garage"
)

// menuState are the menus as they stand in the window.
type menuState struct {
	bar    *look.MenuBar // nil where the system draws the menus
	shows  string        // what it says, to tell whether it has to be made anew
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

// setMenu gives the window its menus, unless it has the same already.
func (w *Window) setMenu() {
	shows := w.menuShows()
	if shows == w.menu.shows {
		return
	}
	w.menu.shows = shows
	if w.menu.bar != nil {
		w.menu.bar.Set(w.buildMenus())
	} else {
		w.win.SetMainMenu(w.systemMenu())
	}
}

// ownBar tells whether the bar of menus is the program's own. On macOS the system draws the menus, elsewhere the toolkit would,
// from fonts that nothing else needs.
func (w *Window) ownBar() bool { return w.opt.System != "darwin" }

// openMenus opens the first menu, or shuts the one that is open.
func (w *Window) openMenus() {
	if w.menu.bar != nil {
		w.menu.bar.Toggle()
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

// inMenu are the commands of a menu.
func (w *Window) inMenu(name string) iter.Seq[command] {
	return func(yield func(command) bool) {
		for _, c := range w.commands {
			if c.menu == name && !yield(c) {
				return
			}
		}
	}
}

// buildMenus are the menus of the program's own bar.
func (w *Window) buildMenus() []look.Menu {
	var built []look.Menu
	for _, name := range menus {
		m := look.Menu{Name: T(name)}
		for c := range w.inMenu(name) {
			e := look.MenuEntry{ID: "menu " + c.text, Text: T(c.text), Chosen: c.chosen != nil && c.chosen(w), Disabled: c.can != nil && !c.can(w), Parted: c.parted, Do: func() { w.run(c) }}
			if c.key != "" {
				e.Key = c.keyText()
			}
			m.Entries = append(m.Entries, e)
		}
		if name == carMenu {
			for n, c := range w.menu.listed() {
				m.Entries = append(m.Entries, look.MenuEntry{ID: fmt.Sprint("menu car ", c.ID), Text: listedCar(c), Parted: n == 0, Do: func() { w.openBook(c.ID) }})
			}
		}
		built = append(built, m)
	}
	return built
}

// systemMenu is the same for a system that draws the menus itself.
func (w *Window) systemMenu() *fyne.MainMenu {
	var built []*fyne.Menu
	for _, name := range menus {
		m := fyne.NewMenu(T(name))
		for c := range w.inMenu(name) {
			if c.parted {
				m.Items = append(m.Items, fyne.NewMenuItemSeparator())
			}
			i := fyne.NewMenuItem(T(c.text), func() { w.run(c) })
			i.IsQuit = c.quits
			i.Checked = c.chosen != nil && c.chosen(w)
			i.Disabled = c.can != nil && !c.can(w)
			if c.key != "" {
				i.Shortcut = &desktop.CustomShortcut{KeyName: c.key, Modifier: c.mod}
			}
			m.Items = append(m.Items, i)
		}
		if name == carMenu {
			w.addRecent(m)
		}
		built = append(built, m)
	}
	return fyne.NewMainMenu(built...)
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

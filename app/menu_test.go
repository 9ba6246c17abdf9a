package app

import (
	"fmt"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
)

// inBar is the entry with a text of the menus as they are built now; what the bar shows of them is told by list.
func (b *bench) inBar(text string) look.MenuEntry {
	b.t.Helper()
	for _, m := range b.w.buildMenus() {
		for _, e := range m.Entries {
			if e.Text == text {
				return e
			}
		}
	}
	b.t.Fatalf("no menu has %q", text)
	return look.MenuEntry{}
}

// TestMenu: the menus follow what can be done and what is chosen, and list the cars that are known.
func TestMenu(t *testing.T) {
	b := newBench(t, setup{log: keptLog()})
	b.until("cars", func() bool { return len(b.w.menu.recent) == 2 })
	b.w.draw()
	if b.win.MainMenu() != nil {
		t.Error("the toolkit has menus, too")
	}
	if !b.inBar("Read the car").Disabled || !b.inBar("Disconnect").Disabled {
		t.Error("without a visit a car can be read")
	}
	b.connect()
	if b.inBar("Read the car").Disabled {
		t.Error("with a visit the car can't be read")
	}
	b.inBar("Dark colours").Do()
	if !b.inBar("Dark colours").Chosen || b.inBar("Light colours").Chosen || b.w.theme.Shade != look.ShadeDark {
		t.Error("the dark colours are not chosen")
	}
	if key := b.inBar("Back up…").Key; key != "Ctrl+B" {
		t.Errorf("a back-up is %q", key)
	}
	b.inBar("Blue Tarn van").Do()
	if b.w.page != PageLogbook || b.w.logs.chosen != 1 {
		t.Errorf("a car in the menu leads to %s of %d", b.w.page, b.w.logs.chosen)
	}
}

// TestMenuOfTheSystem: where the system draws the menus it is given the same ones, with their keys.
func TestMenuOfTheSystem(t *testing.T) {
	b := newBench(t, setup{log: keptLog(), system: "darwin"})
	b.until("cars", func() bool { return len(b.w.menu.recent) == 2 })
	b.w.draw()
	if b.w.menu.bar != nil {
		t.Error("there is a bar of its own, too")
	}
	given := b.win.MainMenu()
	if given == nil {
		t.Fatal("the system has no menus")
	}
	for n, m := range b.w.buildMenus() {
		if given.Items[n].Label != m.Name {
			t.Errorf("menu %d is %q, want %q", n, given.Items[n].Label, m.Name)
		}
		var items []*fyne.MenuItem
		for _, i := range given.Items[n].Items {
			if !i.IsSeparator {
				items = append(items, i)
			}
		}
		if len(items) != len(m.Entries) {
			t.Fatalf("%q has %d entries, want %d", m.Name, len(items), len(m.Entries))
		}
		for k, e := range m.Entries {
			i := items[k]
			if i.Label != e.Text || i.Checked != e.Chosen || i.Disabled != e.Disabled || (i.Shortcut != nil) != (e.Key != "") {
				t.Errorf("%q: %q is %+v, want %+v", m.Name, i.Label, i, e)
			}
			if i.IsQuit != (e.ID == "menu cmd.quit") {
				t.Errorf("%q quits: %t", i.Label, i.IsQuit)
			}
		}
	}
	for _, c := range b.w.commands {
		if c.own {
			t.Errorf("%s needs a bar of its own", c.text)
		}
	}
}

// list are the entries of the menu that is open, nil for none.
func (b *bench) list() []fyne.CanvasObject {
	top := b.win.Canvas().Overlays().Top()
	if top == nil {
		return nil
	}
	var out []fyne.CanvasObject
	var walk func(o fyne.CanvasObject)
	walk = func(o fyne.CanvasObject) {
		if _, named := o.(interface{ ID() string }); named {
			out = append(out, o)
			return
		}
		switch x := o.(type) {
		case *fyne.Container:
			for _, c := range x.Objects {
				walk(c)
			}
		case fyne.Widget:
			for _, c := range test.WidgetRenderer(x).Objects() {
				walk(c)
			}
		}
	}
	walk(top)
	return out
}

// opened is the name of the menu that is open, "" for none. The entries of each menu begin differently.
func (b *bench) opened() string {
	b.t.Helper()
	shown := b.list()
	if len(shown) == 0 {
		return ""
	}
	for _, m := range b.w.buildMenus() {
		if m.Entries[0].ID == shown[0].(interface{ ID() string }).ID() {
			return m.Name
		}
	}
	b.t.Fatal("what is open is none of the menus")
	return ""
}

// marked is the name of the entry with a frame, "" for none.
func (b *bench) marked() string {
	for _, o := range b.list() {
		drawn := test.WidgetRenderer(o.(fyne.Widget)).Objects()
		if drawn[len(drawn)-1].Visible() {
			return o.(interface{ ID() string }).ID()
		}
	}
	return ""
}

// title is where the name of a menu stands.
func (b *bench) title(name string) fyne.Position {
	b.t.Helper()
	for _, o := range test.WidgetRenderer(b.w.menu.bar).Objects() {
		if reads(o) == name {
			return fyne.CurrentApp().Driver().AbsolutePositionForObject(b.w.menu.bar).Add(o.Position()).AddXY(3, 3)
		}
	}
	b.t.Fatalf("no menu is called %q", name)
	return fyne.Position{}
}

// TestMenuByPointer: a tap opens a menu, the neighbours open as the pointer passes, a tap on an entry does it and shuts the
// menu, one on an entry that can't be done does nothing, one elsewhere shuts it, and nothing under it is touched.
func TestMenuByPointer(t *testing.T) {
	b := newBench(t, setup{})
	c := b.win.Canvas()
	open := func(want string) {
		t.Helper()
		if got := b.opened(); got != want {
			t.Fatalf("%q is open, want %q", got, want)
		}
	}
	test.MoveMouse(c, b.title("View"))
	open("")
	test.TapCanvas(c, b.title("View"))
	open("View")
	test.MoveMouse(c, b.title("Car"))
	open("Car")
	test.TapCanvas(c, b.title("Car"))
	open("")
	test.TapCanvas(c, b.title("Car"))
	for _, o := range b.list() {
		if reads(o) == "Read the car Ctrl+R" {
			o.(fyne.Tappable).Tapped(&fyne.PointEvent{})
		}
	}
	open("Car")
	test.TapCanvas(c, b.title("Pages"))
	open("Pages")
	at := func(text string) fyne.Position {
		t.Helper()
		for _, o := range b.list() {
			if strings.HasPrefix(reads(o), text) {
				return fyne.CurrentApp().Driver().AbsolutePositionForObject(o).AddXY(20, o.Size().Height-20)
			}
		}
		t.Fatalf("no entry %q", text)
		return fyne.Position{}
	}
	test.TapCanvas(c, at("Gate"))
	open("")
	if b.w.page != PageGate {
		t.Errorf("the entry leads to %s", b.w.page)
	}
	test.TapCanvas(c, b.title("Pages"))
	test.TapCanvas(c, fyne.CurrentApp().Driver().AbsolutePositionForObject(look.Find(c.Content(), "page settings").(fyne.CanvasObject)).AddXY(10, 10))
	open("")
	if b.w.page != PageGate {
		t.Errorf("a tap beside the menu leads to %s", b.w.page)
	}
}

// TestMenuByKeyboard: F10 and Alt open the menus from wherever the keyboard is, arrow keys lead through them and pass by what
// can't be done, a letter leads to what begins with it, Return does it, Escape and Alt shut the menu and give the keyboard back.
func TestMenuByKeyboard(t *testing.T) {
	b := newBench(t, setup{})
	c := b.win.Canvas()
	bar := b.w.menu.bar
	expect := func(what, menu, entry string) {
		t.Helper()
		if b.opened() != menu || b.marked() != entry {
			t.Fatalf("%s: %q is open with %q marked, want %q with %q", what, b.opened(), b.marked(), menu, entry)
		}
	}
	tap := func(keys ...fyne.KeyName) {
		for _, k := range keys {
			bar.KeyDown(&fyne.KeyEvent{Name: k})
		}
		for _, k := range keys {
			bar.KeyUp(&fyne.KeyEvent{Name: k})
		}
	}
	c.Focus(b.w.link.address)
	b.key(fyne.KeyF10)
	expect("F10 in a field", "File", "menu cmd.recording")
	b.key(fyne.KeyUp)
	expect("up from the first", "File", "menu cmd.quit")
	b.key(fyne.KeyDown)
	expect("down from the last", "File", "menu cmd.recording")
	b.key(fyne.KeyRight)
	expect("right", "Car", "menu cmd.car")
	b.key(fyne.KeyDown)
	expect("down past what can't be done", "Car", "menu cmd.car")
	b.key(fyne.KeyLeft)
	b.key(fyne.KeyLeft)
	expect("left from the first", "Help", "menu cmd.keys")
	b.key(fyne.KeyEnd)
	expect("End", "Help", "menu cmd.about")
	b.key(fyne.KeyHome)
	expect("Home", "Help", "menu cmd.keys")
	c.Focused().TypedRune('t')
	expect("a letter", "Help", "menu cmd.first")
	c.Focused().TypedRune('T')
	expect("the letter again", "Help", "menu cmd.steps")
	b.key(fyne.KeyEscape)
	expect("Escape", "", "")
	if c.Focused() != fyne.Focusable(b.w.link.address) {
		t.Errorf("after Escape %v has the keyboard", c.Focused())
	}
	tap(desktop.KeyAltLeft)
	expect("Alt", "File", "menu cmd.recording")
	tap(desktop.KeyAltLeft)
	expect("Alt again", "", "")
	tap(desktop.KeyAltLeft, fyne.KeyX)
	expect("Alt with another key", "", "")
	tap(desktop.KeyAltRight)
	expect("the right Alt, which writes letters", "", "")
	bar.KeyDown(&fyne.KeyEvent{Name: desktop.KeyAltLeft})
	b.w.leftAlone()
	bar.KeyUp(&fyne.KeyEvent{Name: desktop.KeyAltLeft})
	expect("Alt on the way to another window", "", "")

	b.key(fyne.KeyF10)
	b.key(fyne.KeyRight)
	b.key(fyne.KeyRight)
	b.key(fyne.KeyDown)
	b.key(fyne.KeyReturn)
	expect("Return", "", "")
	if b.w.page != PageCable {
		t.Errorf("Return leads to %s", b.w.page)
	}
	b.key(fyne.KeyF10)
	c.Focused().(fyne.Shortcutable).TypedShortcut(&desktop.CustomShortcut{KeyName: fyne.Key3, Modifier: ctrl})
	expect("a key of a command", "", "")
	if b.w.page != PageCodes {
		t.Errorf("Ctrl+3 leads to %s", b.w.page)
	}
	c.Focus(bar)
	b.key(fyne.KeyRight)
	b.key(fyne.KeyRight)
	b.key(fyne.KeyRight)
	b.key(fyne.KeySpace)
	expect("from the bar", "View", "menu cmd.shade.system")
	b.key(fyne.KeyEscape)
	if c.Focused() != fyne.Focusable(bar) {
		t.Error("the bar has lost the keyboard")
	}
}

// TestMenuStaysOpen: what is drawn anew while a menu is open leaves it open, and what it says is true.
func TestMenuStaysOpen(t *testing.T) {
	b := newBench(t, setup{})
	b.w.menu.bar.Open(1, true)
	b.connect()
	b.w.draw()
	if b.opened() != "Car" {
		t.Fatalf("%q is open", b.opened())
	}
	b.key(fyne.KeyDown)
	if got := b.marked(); got != "menu cmd.read" {
		t.Errorf("%q is marked: the menu does not know of the visit", got)
	}
}

// TestMenuFits: in both languages, in every size of the window and of the text, nothing of a menu is cut, each name and each
// entry is at least 44 units high and wide (WCAG 2.2, 2.5.5), and the keyboard scrolls to the last one.
func TestMenuFits(t *testing.T) {
	for _, language := range []string{"en", "de"} {
		b := newBench(t, setup{log: keptLog(), language: language})
		b.until("cars", func() bool { return len(b.w.menu.recent) == 2 })
		for _, size := range layouts {
			for _, factor := range textSizes {
				b.win.Resize(size)
				taste := b.w.opt.Taste
				taste.Factor = factor
				b.w.taste(taste)
				for n, m := range b.w.buildMenus() {
					t.Run(fmt.Sprintf("%s-%.0f-%.0f-%d", language, size.Width, factor*100, n), func(t *testing.T) {
						b.w.menu.bar.Open(n, true)
						defer b.w.menu.bar.Shut()
						b.picture("menu-" + strings.ReplaceAll(t.Name(), "/", "-"))
						top := b.win.Canvas().Overlays().Top()
						if seen := fitsIn(t, top, size); seen < len(m.Entries) {
							t.Errorf("only %d texts were found of %d entries", seen, len(m.Entries))
						}
						shown := b.list()
						for _, o := range append(shown, b.w.menu.bar) {
							if s := o.Size(); s.Width < leastTarget || s.Height < leastTarget {
								t.Errorf("%v is %v", reads(o), s)
							}
						}
						b.key(fyne.KeyEnd)
						last := shown[len(shown)-1]
						if foot := fyne.CurrentApp().Driver().AbsolutePositionForObject(last).Y + last.Size().Height; foot > size.Height {
							t.Errorf("the last entry ends at %.0f of %.0f", foot, size.Height)
						}
					})
				}
			}
		}
	}
}

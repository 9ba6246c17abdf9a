package app

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"

	"readback/app/look"
)

// command is something that the window does from everywhere: by a key, from a menu, or both. The keys, the menus and
// the list of shortcuts are all made from the one table of them.
type command struct {
	text   string // key of the catalogue
	menu   string // key of the menu's name, "" when it stands in none
	parted bool   // a line stands before it in its menu
	key    fyne.KeyName
	mod    fyne.KeyModifier
	also   fyne.KeyName // another key that does the same, on some keyboards the same key
	do     func(w *Window)
	chosen func(w *Window) bool // marked in its menu; nil for what is never marked
	can    func(w *Window) bool // nil for what can always be done
	quits  bool
	own    bool // only with a bar of menus of the program's own
}

// The menus, in their order.
var menus = []string{"menu.file", carMenu, "menu.pages", "menu.view", "menu.help"}

// carMenu is the one that lists the cars.
const carMenu = "menu.car"

// ctrl is the modifier of the system's shortcuts.
const ctrl = fyne.KeyModifierShortcutDefault

// turn is the command that turns to a page.
func turn(text string, p Page, key fyne.KeyName) command {
	return command{text: text, menu: "menu.pages", key: key, mod: ctrl, do: func(w *Window) { w.Show(p) }, chosen: func(w *Window) bool { return w.page == p }}
}

func shaded(text string, s look.Shade) command {
	return command{text: text, menu: "menu.view", do: func(w *Window) { w.shade(s) }, chosen: func(w *Window) bool { return w.opt.Taste.Shade == s }}
}

func (c command) after() command { c.parted = true; return c }

// commands is the one table of what can be done from everywhere.
func commands() []command {
	kept := func(w *Window) bool { return w.engine.Log != nil }
	return []command{
		{text: "cmd.recording", menu: "menu.file", key: fyne.KeyO, mod: ctrl, do: func(w *Window) { w.Show(PageTalk); w.openRecording() }},
		{text: "cmd.signals", menu: "menu.file", key: fyne.KeyO, mod: ctrl | fyne.KeyModifierShift, do: func(w *Window) { w.Show(PageHeard); w.openSignals() }},
		{text: "cmd.back-up", menu: "menu.file", parted: true, key: fyne.KeyB, mod: ctrl, do: func(w *Window) { w.keepTask(taskBackUp) }, can: kept},
		{text: "cmd.restore", menu: "menu.file", do: func(w *Window) { w.keepTask(taskRestore) }},
		{text: "cmd.export", menu: "menu.file", do: func(w *Window) { w.keepTask(taskExport) }, can: kept},
		{text: "cmd.import", menu: "menu.file", do: func(w *Window) { w.keepTask(taskImport) }, can: kept},
		{text: "cmd.rescue", menu: "menu.file", do: func(w *Window) { w.keepTask(taskRescue) }},
		{text: "cmd.settings", menu: "menu.file", parted: true, key: fyne.KeyComma, mod: ctrl, do: func(w *Window) { w.Show(PageSettings) }},
		{text: "cmd.quit", menu: "menu.file", key: fyne.KeyQ, mod: ctrl, do: (*Window).quit, quits: true},

		{text: "cmd.car", menu: carMenu, key: fyne.Key0, mod: ctrl, do: func(w *Window) { w.Show(PageCar) }},
		{text: "cmd.read", menu: carMenu, key: fyne.KeyR, mod: ctrl, do: func(w *Window) { w.Show(PageCodes); w.startLooking() },
			can: func(w *Window) bool { return w.link.visit != nil && !w.busy() }},
		{text: "cmd.disconnect", menu: carMenu, do: (*Window).disconnect, can: func(w *Window) bool { return w.link.visit != nil && !w.busy() }},

		turn("page.start", PageStart, fyne.KeyHome), turn("step.cable", PageCable, fyne.Key1).after(), turn("step.link", PageLink, fyne.Key2), turn("step.codes", PageCodes, fyne.Key3),
		turn("step.request", PageRequest, fyne.Key4), turn("step.gate", PageGate, fyne.Key5), turn("step.read-back", PageReadBack, fyne.Key6),
		turn("beside.logbook", PageLogbook, fyne.KeyL).after(), turn("beside.live", PageLive, fyne.KeyG), turn("beside.talk", PageTalk, fyne.KeyT), turn("beside.heard", PageHeard, fyne.KeyH), turn("beside.practice", PagePractice, fyne.KeyP),
		shaded("cmd.shade.system", look.ShadeSystem), shaded("cmd.shade.light", look.ShadeLight), shaded("cmd.shade.dark", look.ShadeDark),
		{text: "cmd.larger", menu: "menu.view", parted: true, key: fyne.KeyPlus, also: fyne.KeyEqual, mod: ctrl, do: func(w *Window) { w.resizeText(1) }},
		{text: "cmd.smaller", menu: "menu.view", key: fyne.KeyMinus, mod: ctrl, do: func(w *Window) { w.resizeText(-1) }},
		{text: "cmd.ordinary", menu: "menu.view", do: func(w *Window) { w.resizeText(0) }},
		{text: "cmd.whole-screen", menu: "menu.view", parted: true, key: fyne.KeyF11, do: func(w *Window) { w.win.SetFullScreen(!w.win.FullScreen()); w.draw() },
			chosen: func(w *Window) bool { return w.win.FullScreen() }},

		{text: "cmd.keys", menu: "menu.help", key: fyne.KeyF1, do: func(w *Window) { w.showHelp(topicKeys) }},
		{text: "cmd.first", menu: "menu.help", parted: true, do: func(w *Window) { w.showHelp(topicFirst) }},
		{text: "cmd.steps", menu: "menu.help", do: func(w *Window) { w.showHelp(topicSteps) }},
		{text: "cmd.cautions", menu: "menu.help", do: func(w *Window) { w.showHelp(topicCautions) }},
		{text: "cmd.words", menu: "menu.help", do: func(w *Window) { w.showHelp(topicWords) }},
		{text: "cmd.about", menu: "menu.help", parted: true, do: func(w *Window) { w.showHelp(topicAbout) }},
		{text: "cmd.menus", key: fyne.KeyF10, do: (*Window).openMenus, own: true},
		{text: "cmd.keep", key: fyne.KeyEscape, do: (*Window).escape},
	}
}

// run does what a command says, if it can be done now.
func (w *Window) run(c command) {
	if w.ctx.Err() != nil || c.can != nil && !c.can(w) {
		return
	}
	c.do(w)
}

// keys binds the keys of all commands.
func (w *Window) keys(c fyne.Canvas) {
	bare := map[fyne.KeyName]command{}
	for _, x := range w.commands {
		switch {
		case x.key == "":
			continue
		case x.mod == 0:
			bare[x.key] = x
			continue
		}
		bind := func(key fyne.KeyName, held fyne.KeyModifier) {
			c.AddShortcut(&desktop.CustomShortcut{KeyName: key, Modifier: held}, func(fyne.Shortcut) { w.run(x) })
		}
		bind(x.key, x.mod)
		if x.also != "" {
			bind(x.also, x.mod)
			bind(x.also, x.mod|fyne.KeyModifierShift) // where the sign stands above another one
		}
	}
	c.SetOnTypedKey(func(e *fyne.KeyEvent) {
		if x, ok := bare[e.Name]; ok {
			w.run(x)
		}
	})
	if d, ok := c.(desktop.Canvas); ok && w.menu.bar != nil {
		d.SetOnKeyDown(w.menu.bar.KeyDown)
		d.SetOnKeyUp(w.menu.bar.KeyUp)
	}
}

// keyText is a key as it is written on keyboards, with those that are held.
func (c command) keyText() string {
	var parts []string
	for _, m := range []struct {
		mod fyne.KeyModifier
		key string
	}{{fyne.KeyModifierControl, "key.control"}, {fyne.KeyModifierSuper, "key.command"}, {fyne.KeyModifierAlt, "key.alt"}, {fyne.KeyModifierShift, "key.shift"}} {
		if c.mod&m.mod != 0 {
			parts = append(parts, T(m.key))
		}
	}
	name := string(c.key)
	if named, ok := namedKeys[c.key]; ok {
		name = T(named)
	}
	return strings.Join(append(parts, name), "+")
}

// namedKeys are the keys that have a word on them.
var namedKeys = map[fyne.KeyName]string{fyne.KeyEscape: "key.escape", fyne.KeyHome: "key.home", fyne.KeyPlus: "key.plus", fyne.KeyMinus: "key.minus", fyne.KeyComma: "key.comma"}

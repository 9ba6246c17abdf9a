package app

import (
	"fmt"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/quantity"
)

// settingRow is the name of something that can be set, a line about it, and what it is set with.
func settingRow(head, about string, o fyne.CanvasObject) fyne.CanvasObject {
	name := []fyne.CanvasObject{look.Body(head)}
	if about != "" {
		name = append(name, look.Small(about))
	}
	return look.Pad(6, 14, 6, 14, look.Beside(look.Scaled(190), look.Scaled(260), look.Stack(1, name...), o))
}

// choices are quiet buttons beside one another; the ground of a chosen one is flush with what stands over it.
func choices(o ...fyne.CanvasObject) fyne.CanvasObject {
	return look.Pad(0, 0, 0, -3, look.Wrap(0, o...))
}

// settingsPage is where the owner chooses how the window looks and speaks, and where files are kept.
func (w *Window) settingsPage() (body, margin fyne.CanvasObject) {
	t := w.opt.Taste
	row := settingRow
	pick := func(id, text string, chosen bool, do func()) fyne.CanvasObject {
		return look.NewButton(id, text, look.Quiet, do).Chosen(chosen)
	}
	shade := func(s look.Shade, key string) fyne.CanvasObject {
		return pick(key, T(key), t.Shade == s, func() { w.shade(s) })
	}
	var sizes []fyne.CanvasObject
	for i, f := range look.Factors {
		sizes = append(sizes, pick(fmt.Sprintf("size %d", i), T("set.percent", "N", int(f*100+0.5)), i == w.factorAt(), func() { w.resizeText(i - w.factorAt()) }))
	}
	units := func(id string, all []quantity.Unit, at quantity.Unit, set func(c *quantity.Choice, u quantity.Unit)) fyne.CanvasObject {
		var out []fyne.CanvasObject
		for i, u := range all {
			out = append(out, pick(id+" "+string(u), string(u), at == u || at == "" && i == 0, func() {
				set(&w.opt.Taste.Units, u)
				w.taste(w.opt.Taste)
			}))
		}
		return choices(out...)
	}
	looks := look.Rows(
		row(T("set.colours"), "", choices(shade(look.ShadeSystem, "taste.system"), shade(look.ShadeLight, "taste.light"), shade(look.ShadeDark, "taste.dark"))),
		row(T("set.size"), "", choices(sizes...)),
		row(T("set.language"), w.languageNote(), choices(w.languages(pick)...)))
	measures := look.Rows(
		row(T("set.way"), "", units("way", quantity.Ways, t.Units.Way, func(c *quantity.Choice, u quantity.Unit) { c.Way = u })),
		row(T("set.temperature"), "", units("temperature", quantity.Temperatures, t.Units.Temperature, func(c *quantity.Choice, u quantity.Unit) { c.Temperature = u })),
		row(T("set.pressure"), "", units("pressure", quantity.Pressures, t.Units.Pressure, func(c *quantity.Choice, u quantity.Unit) { c.Pressure = u })))
	folders := look.Rows(w.folderRow("logbook", w.opt.Logbook, t.Folders.Logbook != "", w.opt.LogbookFixed, w.moveLogbook),
		w.folderRow("recordings", t.Folders.Recordings, t.Folders.Recordings != "", false, func(dir string) { w.opt.Taste.Folders.Recordings = dir; w.taste(w.opt.Taste) }),
		w.folderRow("reports", t.Folders.Reports, t.Folders.Reports != "", false, func(dir string) { w.opt.Taste.Folders.Reports = dir; w.taste(w.opt.Taste) }))
	parts := []fyne.CanvasObject{w.header(T("set.title"), T("set.lead")), look.Stack(6, look.Head(T("set.looks")), looks),
		look.Stack(6, look.Head(T("set.units")), look.Small(T("set.units.about")), measures), look.Stack(6, look.Head(T("set.folders")), folders)}
	return look.Stack(18, parts...), w.margin("", T("set.m.kept"), T("set.m.kept.text"), T("set.m.logbook"), T("set.m.logbook.text"), T("set.m.keys"), T("set.m.keys.text"))
}

// languages are the buttons of the languages that can be chosen.
func (w *Window) languages(pick func(id, text string, chosen bool, do func()) fyne.CanvasObject) []fyne.CanvasObject {
	out := []fyne.CanvasObject{pick("language", T("set.language.system"), w.opt.Taste.Language == "", func() { w.speakLanguage("") })}
	for _, l := range Languages() {
		out = append(out, pick("language "+l.Tag, l.Name, w.opt.Taste.Language == l.Tag, func() { w.speakLanguage(l.Tag) }))
	}
	return out
}

func (w *Window) languageNote() string {
	if w.link.visit != nil {
		return T("set.language.visit")
	}
	return ""
}

// speakLanguage chooses the language of the window. What is drawn keeps its words, so the window begins anew; with a
// visit open it does so at the next start.
func (w *Window) speakLanguage(tag string) {
	w.opt.Taste.Language = tag
	w.taste(w.opt.Taste)
	if w.link.visit == nil && w.link.opening == nil && w.opt.Anew != nil {
		w.opt.Anew(func(n *Window) { n.Show(PageSettings) }, nil)
	}
}

// folderRow shows where something is kept, and lets the owner choose another folder.
func (w *Window) folderRow(id, path string, own, fixed bool, set func(dir string)) fyne.CanvasObject {
	shown := look.AsIs(path, look.Style{Mono: true, Size: look.SizeSmall})
	if path == "" {
		shown = look.Small(T("set.folder.usual"))
	}
	parts, about := []fyne.CanvasObject{shown}, ""
	switch {
	case fixed:
		about = T("set.folder.fixed")
	case id == "logbook" && w.link.visit != nil:
		about = T("set.folder.visit")
	default:
		acts := []fyne.CanvasObject{look.NewButton("folder "+id, T("set.folder.choose"), look.Plain, func() { w.chooseFolder(path, set) }).Small()}
		if own {
			acts = append(acts, look.NewButton("usual "+id, T("set.folder.back"), look.Quiet, func() { set("") }))
		}
		parts = append(parts, look.Buttons(acts...))
	}
	return settingRow(T("set.folder."+id), about, look.Stack(0, parts...))
}

// moveLogbook opens the logbook of another folder, or begins one there. The logbook that is open stays where it is.
func (w *Window) moveLogbook(dir string) {
	if w.opt.Anew == nil || w.link.visit != nil || w.link.opening != nil {
		return
	}
	w.opt.Taste.Folders.Logbook = dir
	w.taste(w.opt.Taste)
	w.opt.Anew(func(n *Window) { n.Show(PageSettings) }, nil)
}

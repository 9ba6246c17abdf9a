package app

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/quantity"
	"readback/diag/signal"
)

// liveItem is something that can be chosen: a value that the car is asked for, or a signal that is only heard.
type liveItem struct {
	key, name, about string
	units            []string
	value            diag.LiveValue  // of what is asked for
	message          *signal.Message // of what is heard
	signal           *signal.Signal  // nil for what is asked for
}

func itemOf(v diag.LiveValue, units quantity.Choice) liveItem {
	i := liveItem{key: v.Key.String(), name: named(v.Name), about: named(v.Module), value: v}
	for _, p := range v.Parts {
		unit := told(string(units.Of(quantity.Quantity{Unit: quantity.Unit(p.Unit)}).Unit))
		if unit != "" && !slices.Contains(i.units, unit) {
			i.units = append(i.units, unit)
		}
	}
	if v.Key.Kind == diag.LiveSupply {
		i.about = T("live.adapter")
	}
	return i
}

// signalItem is a signal of a message that was heard.
func signalItem(m *signal.Message, s *signal.Signal) liveItem {
	i := liveItem{key: "heard " + m.ID.String() + " " + s.Name, name: s.Name, about: T("live.heard", "Message", m.Name, "ID", m.ID.String()), message: m, signal: s}
	if s.Unit != "" {
		i.units = []string{s.Unit}
	}
	return i
}

// liveColumn are the values that can be chosen, a row each.
type liveColumn struct {
	items  []liveItem
	chosen map[string]bool
}

func (c *liveColumn) Len() int                            { return len(c.items) }
func (c *liveColumn) Heading(int) bool                    { return false }
func (c *liveColumn) Height(i int, width float32) float32 { return look.HeightFor(c.Build(i), width) }

// Odd are the rows whose names need more than one line.
func (c *liveColumn) Odd(width float32) (odd []int) {
	even := c.EvenHeight(width)
	sure := int((width - look.Scaled(280)) / look.Scaled(12)) // so many letters fit beside all that can stand in a row
	for i := range c.items {
		if utf8.RuneCountInString(c.items[i].name) > sure && c.Height(i, width) > even {
			odd = append(odd, i)
		}
	}
	return odd
}

func (c *liveColumn) EvenHeight(width float32) float32 {
	return look.HeightFor(liveRow(liveItem{}, false), width)
}
func (c *liveColumn) Build(i int) fyne.CanvasObject {
	return liveRow(c.items[i], c.chosen[c.items[i].key])
}

// roomyRow is the width from which on a row has columns for what is beside its name.
const roomyRow = 600

// liveRow is a value that can be chosen. In a narrow row its name has the whole width, and the rest stands under it.
func liveRow(i liveItem, chosen bool) fyne.CanvasObject {
	sign := func() fyne.CanvasObject { return look.Gap(1) }
	word := ""
	if chosen {
		sign, word = func() fyne.CanvasObject { return look.NewMark(look.MarkTick, 18) }, T("live.chosen")
	}
	name := func() fyne.CanvasObject {
		return look.AsIs(i.name, look.Style{Bold: chosen})
	}
	row := func(parts ...look.Cell) fyne.CanvasObject {
		return look.Row(10, append([]look.Cell{look.Fixed(look.Scaled(18), sign())}, parts...)...)
	}
	units := commas(i.units)
	return look.Pad(6, 14, 6, 14, look.Either(look.Scaled(roomyRow),
		row(look.Growing(look.Stack(0, name(), cut(i.about, cutFine))), look.Fixed(look.Scaled(64), cut(word, cutWords)), look.Fixed(look.Scaled(80), cut(units, cutSoft))),
		row(look.Growing(look.Stack(0, name(), look.Row(10, look.Growing(cut(dots(i.about, units), cutFine)), look.Natural(cut(word, cutWords))))))))
}

// siftLive are the rows that fit the search: what the car offers, then what is heard.
func (w *Window) siftLive() *liveColumn {
	l := &w.live
	c := &liveColumn{chosen: map[string]bool{}}
	for _, s := range l.chosen {
		c.chosen[s.item.key] = true
	}
	words := strings.Fields(strings.ToLower(l.search.Text))
	found := diag.FindLive(l.offered, l.search.Text)
	for _, v := range l.offered {
		i := itemOf(v, w.opt.Taste.Units)
		shown := strings.ToLower(i.name + " " + i.about)
		if slices.ContainsFunc(found, func(f diag.LiveValue) bool { return f.Key == v.Key }) || !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(shown, w) }) {
			c.items = append(c.items, i)
		}
	}
	c.items = append(c.items, w.heardItems(words)...)
	return c
}

// heardItems are the signals of the messages that were heard in this visit, as far as they hold the words.
func (w *Window) heardItems(words []string) (out []liveItem) {
	f, s := w.ear.signals, w.said.live
	if f == nil || s == nil || s.ended {
		return nil
	}
	for i := range s.table.Len() {
		r := s.table.Row(i)
		m, ok := f.Message(r.ID)
		if !ok || r.Out {
			continue
		}
		for k := range m.Signals {
			text := strings.ToLower(m.Signals[k].Name + " " + m.Name + " " + m.ID.String())
			if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) }) {
				out = append(out, signalItem(m, &m.Signals[k]))
			}
		}
	}
	return out
}

// mostLive is how many values can be chosen at a time.
const mostLive = look.CourseStyles

// liveChooser is the page on which values are chosen.
func (w *Window) liveChooser() (body, margin fyne.CanvasObject) {
	l := &w.live
	l.column = w.siftLive()
	at := slices.IndexFunc(l.column.items, func(i liveItem) bool { return i.key == l.at })
	l.list.Fill(l.column, at)
	all := len(l.offered) + len(w.heardItems(nil))
	title, lead := N("live.offers", len(l.offered)), T("live.offers.lead", "Most", mostLive)
	if len(l.offered) == 0 {
		title, lead = T("live.offers.none"), T("live.offers.none.lead")
	}
	parts := []fyne.CanvasObject{w.header(title, lead)}
	parts = append(parts, w.liveTrouble(l.askErr)...)
	if w.said.err != nil {
		parts = append(parts, look.Noted(look.Alert, look.Body(fileSentence(w.said.err))))
	}
	acts := []fyne.CanvasObject{}
	if n := len(l.chosen); n > 0 {
		acts = append(acts, look.NewButton("live-show", N("live.show", n), look.Main, w.showLive), look.NewButton("live-none", T("live.none"), look.Quiet, w.chooseNone))
	}
	acts = append(acts, look.NewButton("live-ask", T("live.ask.again"), look.Quiet, func() { w.askLive(nil) }))
	parts = append(parts, look.Buttons(acts...))
	if l.full {
		parts = append(parts, look.State(look.MarkUnknown, T("live.full", "Most", mostLive)))
	}
	if all > 0 {
		parts = append(parts, l.search)
		if len(l.column.items) == 0 {
			parts = append(parts, look.Boxed(look.Body(T("live.no-match"))))
		} else {
			parts = append(parts, l.list)
		}
	}
	parts = append(parts, w.ownValue(), w.liveDefinitions())
	return look.Stack(12, parts...), w.itemMargin(at)
}

// itemMargin is what is known of a value.
func (w *Window) itemMargin(at int) fyne.CanvasObject {
	if at < 0 {
		return w.liveHelp()
	}
	i := w.live.column.items[at]
	source, asked := told(i.value.Source), T("live.f.asked", "Key", i.key)
	switch {
	case i.signal != nil:
		source, asked = T("live.f.file", "File", w.ear.file), T("live.f.heard")
	case i.value.Key.Kind == diag.LiveSupply:
		asked = T("live.f.adapter")
	}
	texts := []string{i.name, i.about, T("live.f.how"), asked}
	switch {
	case len(i.units) > 0:
		texts = append(texts, T("live.f.units"), commas(i.units))
	case i.signal == nil && len(i.value.Parts) == 0:
		texts = append(texts, T("live.f.units"), T("live.f.words"))
	}
	return w.margin(source, append(texts, T("live.m.choose"), T("live.m.choose.text"))...)
}

// toggleLive chooses a value, or takes it out.
func (w *Window) toggleLive(i liveItem) {
	l := &w.live
	l.full = false
	if l.chosenLive(i.key) != nil {
		l.chosen = slices.DeleteFunc(l.chosen, func(s *liveSeries) bool { return s.item.key == i.key })
		l.choosing = l.choosing || len(l.chosen) == 0
	} else {
		s := newLiveSeries(i, w.opt.Taste.Units)
		if len(l.chosen) >= mostLive || l.lines()+len(s.lines) > look.CourseStyles {
			l.full = true
			w.draw()
			return
		}
		for _, x := range s.lines {
			x.style = l.freeStyle(s.lines)
		}
		l.chosen = append(l.chosen, s)
	}
	l.endErr = nil
	w.watchAgain()
	w.draw()
}

func (w *Window) chooseNone() {
	w.live.chosen, w.live.full = nil, false
	w.watchAgain()
	w.draw()
}

// showLive turns to the plot and begins to read.
func (w *Window) showLive() {
	w.live.choosing, w.live.full = false, false
	if w.live.run == nil {
		w.startWatching()
	}
	w.draw()
	w.main.ToTop()
}

// ownValue is where the owner adds an identifier that somebody has told them.
func (w *Window) ownValue() fyne.CanvasObject {
	l := &w.live
	parts := []fyne.CanvasObject{look.Head(T("live.add")), look.Small(T("live.add.lead")),
		look.Row(10, look.Fixed(look.Scaled(150), l.add), look.Natural(look.NewButton("live-add", T("live.add.do"), look.Plain, w.addIdentifier).Small()), look.Growing(look.Gap(1)))}
	if l.addSaid != "" {
		parts = append(parts, look.Small(l.addSaid))
	}
	return look.Boxed(look.Stack(6, parts...))
}

// identifierIn reads an identifier of service 22: four hex digits, with or without the service before them.
func identifierIn(text string) (uint16, bool) {
	text = strings.ToUpper(strings.Join(strings.Fields(text), ""))
	text = strings.TrimPrefix(strings.TrimPrefix(text, "0X"), "22:")
	if len(text) == 6 {
		text = strings.TrimPrefix(text, "22")
	}
	id, err := strconv.ParseUint(text, 16, 16)
	return uint16(id), err == nil && len(text) == 4
}

// addIdentifier adds what the owner has typed, and asks the car for it.
func (w *Window) addIdentifier() {
	l := &w.live
	id, ok := identifierIn(l.add.Text)
	if !ok {
		l.addSaid = T("live.add.form")
		w.draw()
		return
	}
	w.askLive([]uint16{id})
}

// tellAdded says what came of adding values.
func (w *Window) tellAdded(own []uint16) {
	l := &w.live
	for _, id := range own {
		var tellers []string
		for _, v := range l.offered {
			if v.Key.Kind == diag.LiveIdentifier && v.Key.Number == id {
				tellers = append(tellers, named(v.Module))
				l.at = v.Key.String()
			}
		}
		text := fmt.Sprintf("%04X", id)
		l.addSaid = T("live.add.nobody", "ID", text)
		if len(tellers) > 0 {
			l.addSaid = T("live.add.told", "ID", text, "Modules", listed(tellers))
			l.search.SetText(text)
			l.add.SetText("")
			l.own = append(l.own, id)
		}
	}
	w.keepIdentifiers()
}

// liveDefinitions tells of signals that are heard without asking.
func (w *Window) liveDefinitions() fyne.CanvasObject {
	text := T("live.signals.none")
	switch f := w.ear.signals; {
	case !w.link.visit.Adapter().Raw:
		return look.Small(T("live.signals.deaf"))
	case f != nil && len(w.heardItems(nil)) == 0:
		text = T("live.signals.unheard", "File", w.ear.file)
	case f != nil:
		text = T("live.signals.heard", "File", w.ear.file)
	}
	return look.Stack(2, look.Small(text), look.Buttons(look.NewButton("live-signals", T("heard.signals.open"), look.Plain, w.openSignals).Small()))
}

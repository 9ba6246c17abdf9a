package app

import (
	"fmt"
	"runtime"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/assets"
)

// topic is one page of the help.
type topic string

const (
	topicFirst    topic = "first"
	topicSteps    topic = "steps"
	topicCautions topic = "cautions"
	topicWords    topic = "words"
	topicKeys     topic = "keys"
	topicAbout    topic = "about"
)

// topics are all pages of the help. What has a number of texts has that many heads, each with its words.
var topics = []struct {
	topic topic
	texts int
}{{topicFirst, 6}, {topicSteps, 7}, {topicCautions, 8}, {topicWords, 20}, {topicKeys, 0}, {topicAbout, 0}}

// helpState is the page of the help that is shown.
type helpState struct {
	topic    topic
	licence  int // number of the licence that is shown, from 1; 0 is none
	licences []assets.Licence
}

// showHelp turns to one page of the help.
func (w *Window) showHelp(t topic) {
	w.help.topic = t
	if w.page == PageHelp {
		w.main.ToTop()
	}
	w.Show(PageHelp)
}

func (w *Window) helpPage() (body, margin fyne.CanvasObject) {
	h := &w.help
	if h.topic == "" {
		h.topic = topicFirst
	}
	var choice []fyne.CanvasObject
	texts := 0
	for _, x := range topics {
		if x.topic == h.topic {
			texts = x.texts
		}
		choice = append(choice, look.NewButton("help "+string(x.topic), T("help."+string(x.topic)), look.Quiet, func() { w.showHelp(x.topic) }).Chosen(x.topic == h.topic))
	}
	parts := []fyne.CanvasObject{w.header(T("help."+string(h.topic)+".title"), T("help."+string(h.topic)+".lead")), look.Pad(0, 0, 0, -8, look.Wrap(0, choice...))}
	switch h.topic {
	case topicKeys:
		parts = append(parts, w.keyList())
	case topicAbout:
		parts = append(parts, w.about())
	default:
		var rows []fyne.CanvasObject
		for i := 1; i <= texts; i++ {
			key := fmt.Sprintf("help.%s.%d", h.topic, i)
			rows = append(rows, look.Pad(9, 16, 9, 16, look.Stack(2, look.Head(T(key)), look.Body(T(key+".text")))))
		}
		parts = append(parts, look.Rows(rows...))
	}
	if l := h.licence; h.topic == topicAbout && l > 0 {
		x := h.licences[l-1]
		return look.Stack(18, parts...), w.sourced("", look.Stack(4, look.AsIs(x.Name, look.Style{Bold: true}), look.Small(dots(x.Version, x.Kind))), look.AsIs(x.Text, look.Style{Size: look.SizeFine}))
	}
	return look.Stack(18, parts...), w.margin("", T("help.m.offline"), T("help.m.offline.text"), T("help.m.terminal"), T("help.m.terminal.text"))
}

// keyList lists every key of the table of commands, and the keys that work in every part.
func (w *Window) keyList() fyne.CanvasObject {
	row := func(key, what string) fyne.CanvasObject {
		return look.Pad(7, 16, 7, 16, look.Beside(look.Scaled(150), look.Scaled(180), look.Styled(key, look.Style{Mono: true, Bold: true}), look.Body(what)))
	}
	var groups []fyne.CanvasObject
	for _, name := range append(append([]string{}, menus...), "") {
		var rows []fyne.CanvasObject
		for _, c := range w.commands {
			if c.key != "" && c.menu == name {
				rows = append(rows, row(c.keyText(), T(c.text)))
			}
		}
		head := T("help.keys.everywhere")
		if name != "" {
			head = T(name)
		} else {
			most := 5
			if w.menu.bar == nil {
				most = 4 // the last one is about the bar of menus
			}
			for i := 1; i <= most; i++ {
				key := fmt.Sprintf("help.keys.%d", i)
				rows = append(rows, row(T(key), T(key+".text")))
			}
		}
		if len(rows) > 0 {
			groups = append(groups, look.Stack(6, look.Head(head), look.Rows(rows...)))
		}
	}
	return look.Stack(16, groups...)
}

// about tells what the program is, and the licence of everything in it.
func (w *Window) about() fyne.CanvasObject {
	h := &w.help
	if h.licences == nil {
		h.licences = assets.Licences()
	}
	facts := look.Boxed(look.Stack(4, fact(T("about.version"), assets.Version), fact(T("about.system"), runtime.GOOS+"/"+runtime.GOARCH), fact(T("about.go"), runtime.Version())))
	var rows []fyne.CanvasObject
	for i, l := range h.licences {
		text := look.Row(12, look.Growing(look.Stack(0, look.AsIs(l.Name, look.Style{Size: look.SizeSmall}), look.AsIs(dots(l.Version, l.Kind), look.Style{Size: look.SizeFine, Color: look.Soft}))))
		rows = append(rows, look.NewChoice("licence "+l.Name, l.Name, look.Pad(6, 14, 6, 14, text), h.licence == i+1, func() {
			h.licence = i + 1
			w.side.ToTop()
			w.draw()
		}).Follow())
	}
	return look.Stack(16, facts, look.Body(T("about.what")), look.Stack(6, look.Head(N("about.licences", len(h.licences))), look.Small(T("about.licences.how")), look.Rows(rows...)))
}

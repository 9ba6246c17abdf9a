package app

import (
	"fmt"

	"fyne.io/fyne/v2"

	"readback/app/look"
)

// mostMet is how many cars the first page lists.
const mostMet = 4

// way is one way into the program.
type way struct {
	id    string
	motif look.Motif
	page  Page
}

// doors are the ways in, in the order of a visit.
var doors = []way{{"cable", look.MotifCable, PageCable}, {"look", look.MotifCar, PageLink}, {"request", look.MotifRequest, PageRequest}, {"practice", look.MotifPractice, PagePractice}}

// startPage leads somebody who has never been here by the hand: four doors, and what a first visit is like.
func (w *Window) startPage() (body, margin fyne.CanvasObject) {
	var tiles []fyne.CanvasObject
	for _, d := range doors {
		head := T("start." + d.id)
		text := look.Stack(3, look.Head(head), look.Small(T("start."+d.id+".text")), look.Styled(T("start."+d.id+".go"), look.Style{Bold: true, Size: look.SizeSmall, Color: look.Accent}))
		in := look.Pad(14, 16, 14, 14, look.Row(14, look.Natural(look.NewSketch(d.motif, 72)).At(look.Top), look.Growing(text).At(look.Top)))
		tiles = append(tiles, look.Framed(look.NewChoice("door "+d.id, head, in, false, func() { w.Show(d.page) })))
	}
	parts := []fyne.CanvasObject{w.header(T("start.title"), T("start.lead"))}
	parts = append(parts, w.notices()...)
	parts = append(parts, look.Tiles(14, look.Scaled(280), tiles...))
	if met := w.metCars(); met != nil {
		parts = append(parts, met)
	} else {
		var rows []fyne.CanvasObject
		for i := 1; i <= 4; i++ {
			rows = append(rows, look.Row(12, look.Fixed(look.Scaled(22), look.Styled(fmt.Sprint(i), look.Style{Bold: true, Color: look.Accent})).At(look.Top),
				look.Growing(look.Body(T(fmt.Sprintf("start.first.%d", i))))))
		}
		parts = append(parts, look.Stack(6, look.Head(T("start.first")), look.Boxed(look.Stack(8, rows...))))
	}
	parts = append(parts, look.Buttons(look.NewButton("start-help", T("start.help"), look.Quiet, func() { w.showHelp(topicFirst) }),
		look.NewButton("start-restore", T("keep.restore"), look.Quiet, func() { w.keepTask(taskRestore) })))
	return look.Stack(18, parts...), w.margin(T("source.start"), T("start.m.before"), T("start.m.before.text"), T("start.m.out"), T("start.m.out.text"), T("start.m.keys"), T("start.m.keys.text"))
}

// metCars are the cars that the logbook knows, nil when there are none.
func (w *Window) metCars() fyne.CanvasObject {
	var rows []fyne.CanvasObject
	for _, c := range w.menu.recent[:min(mostMet, len(w.menu.recent))] {
		name := listedCar(c)
		text := []fyne.CanvasObject{look.AsIs(name, look.Style{Bold: true})}
		if about := dots(c.Model, c.Odometer); about != "" {
			text = append(text, look.AsIs(about, look.Style{Size: look.SizeSmall, Color: look.Soft}))
		}
		rows = append(rows, look.NewChoice(fmt.Sprintf("met %d", c.ID), name, look.Pad(8, 14, 8, 14, look.Stack(1, text...)), false, func() { w.openBook(c.ID) }))
	}
	if len(rows) == 0 {
		return nil
	}
	return look.Stack(6, look.Head(T("start.met")), look.Rows(rows...))
}

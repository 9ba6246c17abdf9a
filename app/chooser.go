package app

import (
	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/explain"
)

// filler is what a composed frame to a module is filled up with: what this car was seen to use, where it is being visited.
func (w *Window) filler(m explain.Module) byte {
	if w.link.visit == nil {
		return usualFiller
	}
	return w.link.visit.Filler(m.Address)
}

// usualFiller is for a frame to a car that is not there.
const usualFiller = 0x55

// chooser writes a request for somebody who types nothing: first what to do, then which module.
func (w *Window) chooser() fyne.CanvasObject {
	r := &w.req
	var deeds, modules []fyne.CanvasObject
	for _, d := range explain.Deeds {
		deeds = append(deeds, look.NewButton("deed "+string(d), T("deed."+string(d)), look.Quiet, func() { r.deed = d; w.draw() }).Chosen(r.deed == d))
	}
	for _, m := range w.known() {
		text, ok := explain.Compose(r.deed, m, w.filler(m))
		if !ok {
			continue
		}
		modules = append(modules, look.NewButton("choose "+m.Address.Request.String(), T("choose.module", "Name", named(m.Name), "Request", m.Address.Request.String()), look.Plain, func() {
			r.wish = explain.WishRead
			if r.deed == explain.DeedErase {
				r.wish = explain.WishClear
			}
			r.field.SetText(text)
			w.explainAgain()
			w.draw()
		}).Small())
	}
	parts := []fyne.CanvasObject{look.Head(T("choose.title")), look.Small(T("choose.lead")), look.Wrap(4, deeds...)}
	if len(modules) == 0 {
		parts = append(parts, look.Small(T("choose.none")))
	} else {
		parts = append(parts, look.Hair(), look.Small(T("choose.which")), look.Wrap(6, modules...))
	}
	return look.Boxed(look.Stack(8, parts...))
}

// known are the modules of the newest reading, as an explanation needs them.
func (w *Window) known() []explain.Module {
	var out []explain.Module
	for _, m := range w.code.sorted() {
		out = append(out, explain.Module{Name: m.Name, Address: m.Address, Safety: m.Safety, Protocol: m.Protocol, Codes: len(m.Views)})
	}
	return out
}

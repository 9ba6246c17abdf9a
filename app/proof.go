package app

import (
	"context"
	"fmt"
	"slices"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/garage"
)

// proofCard are the readings that follow the newest erase.
func (w *Window) proofCard() fyne.CanvasObject {
	b := &w.logs.book
	if len(b.proof.Steps) == 0 {
		return nil
	}
	var rows []fyne.CanvasObject
	for _, p := range b.proof.Steps {
		g := diag.GuideOf(p.Step)
		sign, state := look.MarkWaiting, T("proof.later", "When", day(p.Due))
		switch {
		case p.Left:
			sign, state = look.MarkUntested, T("proof.left")
		case !p.Open():
			sign, state = look.MarkTick, T("proof.done", "When", day(p.Done))
		case !p.Due.After(w.now()):
			sign, state = look.MarkNow, T("proof.due")
		}
		texts := []fyne.CanvasObject{look.NewText(look.Run{Text: upperFirst(told(g.When)), Style: look.Style{Bold: true}}, look.Run{Text: "  " + state, Style: look.Style{Size: look.SizeSmall, Color: look.Soft}})}
		var acts []fyne.CanvasObject
		if p.Open() {
			texts = append(texts, look.Small(sentences(told(g.Do), told(g.Why))))
			if r, ok := w.newestOf(b.car.ID); ok && !p.Due.After(w.now()) && r.Begun.After(b.proof.Entry.Begun) {
				acts = append(acts, look.NewButton(fmt.Sprintf("proof %d", p.ID), T("proof.take"), look.Plain, func() {
					w.withLogbook(func(ctx context.Context, log Logbook) error { return log.ProofDone(ctx, p.ID, r.ID, r.Ended) })
				}).Small())
			}
			leave := look.NewButton(fmt.Sprintf("leave %d", p.ID), T("proof.leave"), look.Quiet, func() {
				w.withLogbook(func(ctx context.Context, log Logbook) error { return log.LeaveProof(ctx, p.ID) })
			})
			acts = append(acts, leave)
		}
		if p.Visit != 0 {
			texts = append(texts, look.Fine(told(g.Why)))
		}
		if len(acts) > 0 {
			texts = append(texts, look.Buttons(acts...))
		}
		rows = append(rows, look.Pad(8, 14, 8, 14, look.Row(12, look.Natural(look.NewMark(sign, 18)).At(look.Top), look.Growing(look.Stack(2, texts...)))))
	}
	return look.Stack(6, look.Head(T("proof.title")), look.Small(T("proof.lead")), look.Rows(rows...), w.provenCodes())
}

// proofSigns are the marks of what the readings since an erase say of a code.
var proofSigns = map[diag.Proof]look.Sign{diag.Proven: look.MarkTick, diag.NoSign: look.MarkWaiting, diag.Back: look.MarkNow, diag.Unclear: look.MarkUnknown}

// provenCodes say of each code that was erased what the readings since have shown.
func (w *Window) provenCodes() fyne.CanvasObject {
	var rows []fyne.CanvasObject
	for _, c := range w.logs.book.proof.Codes {
		name := look.NewText(look.Run{Text: c.Code, Style: look.Style{Mono: true, Bold: true}}, look.Run{Text: "  " + named(c.Module), Style: look.Style{Size: look.SizeSmall, Color: look.Soft}})
		rows = append(rows, look.Pad(7, 14, 7, 14, look.Row(12, look.Natural(look.NewMark(proofSigns[c.Proof], 18)).At(look.Top), look.Growing(look.Stack(1, name, look.Small(upperFirst(told(c.Text))))))))
	}
	if len(rows) == 0 {
		return look.Gap(0)
	}
	return look.Pad(8, 0, 0, 0, look.Stack(6, look.Head(T("proof.codes")), look.Rows(rows...)))
}

// newestOf is the newest visit of a car that no step of proof has taken yet.
func (w *Window) newestOf(car int64) (garage.Summary, bool) {
	b := &w.logs.book
	for _, v := range b.visits { // newest first
		taken := slices.ContainsFunc(b.proof.Steps, func(p garage.ProofStep) bool { return p.Visit == v.ID })
		if v.CarID == car && v.Kind == garage.KindLook {
			return v, !taken
		}
	}
	return garage.Summary{}, false
}

package app

import (
	"context"
	"errors"
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/dtc"
	"readback/diag/garage"
)

// noteState are the owner's own notes on the codes of the car, and the one that is being written.
type noteState struct {
	notes   []garage.Note
	err     error
	writing string // key of the code that a note is written on, "" when none is

	text, who, where *look.Field
}

func (w *Window) makeNoteFields() {
	w.note.text = look.NewField("note-text", T("note.text.hint"), false, nil)
	w.note.who = look.NewField("note-who", T("note.who.hint"), false, nil)
	w.note.where = look.NewField("note-where", T("note.where.hint"), false, nil)
}

// readNotes reads the notes of the car.
func (w *Window) readNotes() {
	w.withNotes(func(context.Context, int64) error { return nil })
}

func (w *Window) withNotes(do func(ctx context.Context, car int64) error) {
	id := w.car().ID
	if id == 0 || w.engine.Log == nil {
		return
	}
	w.act(func(ctx context.Context) func() {
		err := do(ctx, id)
		notes, e := w.engine.Log.Notes(ctx, id)
		return func() {
			w.note.notes, w.note.err = notes, errors.Join(err, e)
			w.siftCodes()
		}
	})
}

// noteOn is the newest note on a code.
func (w *Window) noteOn(c dtc.Code) (garage.Note, bool) {
	for i := len(w.note.notes) - 1; i >= 0; i-- {
		if w.note.notes[i].Code == c.String() {
			return w.note.notes[i], true
		}
	}
	return garage.Note{}, false
}

// keepNote keeps what the owner wrote on a code.
func (w *Window) keepNote(code string) {
	n := garage.Note{Text: strings.TrimSpace(w.note.text.Text), Who: strings.TrimSpace(w.note.who.Text), Where: strings.TrimSpace(w.note.where.Text), At: w.now()}
	if n.Text == "" {
		return
	}
	w.note.writing = ""
	w.withNotes(func(ctx context.Context, car int64) error {
		_, err := w.engine.Log.PutNote(ctx, car, code, n)
		return err
	})
	w.draw()
}

// noteParts are the owner's note on the chosen code, and the way to write one.
func (w *Window) noteParts(v diag.CodeView) []fyne.CanvasObject {
	var parts []fyne.CanvasObject
	if w.note.err != nil {
		parts = append(parts, look.Body(errorText(w.note.err)))
	}
	if n, ok := w.noteOn(v.Record.Code); ok {
		said := []fyne.CanvasObject{look.Head(T("note.yours", "When", when(n.At, w.now()))), look.AsIs(n.Text, look.Style{})}
		if from := dots(n.Who, n.Where); from != "" {
			said = append(said, look.AsIs(from, look.Style{Size: look.SizeSmall, Color: look.Soft}))
		}
		parts = append(parts, look.Stack(4, said...))
	}
	code := v.Record.Code.String()
	if w.note.writing != code {
		return append(parts, look.Buttons(look.NewButton("note-new", T("note.new"), look.Quiet, func() {
			w.note.writing = code
			for _, f := range []*look.Field{w.note.text, w.note.who, w.note.where} {
				f.SetText("")
			}
			w.draw()
		})))
	}
	return append(parts, look.Stack(6, look.Head(T("note.new")), look.Small(T("note.lead")), w.note.text, w.note.who, w.note.where,
		look.Buttons(look.NewButton("note-keep", T("note.keep"), look.Plain, func() { w.keepNote(code) }).Small(),
			look.NewButton("note-leave", T("cancel"), look.Quiet, func() { w.note.writing = ""; w.draw() }))))
}

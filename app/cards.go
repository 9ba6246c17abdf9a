package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/explain"
	"readback/diag/garage"
)

// cardState are the request cards of the car, and the one that is being written.
type cardState struct {
	cards   []diag.CheckedCard
	of      int64 // car that they belong to
	err     error
	said    string // what came of the last act
	writing bool

	title, who, where, expect *look.Field
}

func (w *Window) makeCardFields() {
	c := &w.card
	c.title = look.NewField("card-title", T("card.title.hint"), false, nil)
	c.who = look.NewField("card-who", T("card.who.hint"), false, nil)
	c.where = look.NewField("card-where", T("card.where.hint"), false, nil)
	c.expect = look.NewField("card-expect", T("card.expect.hint"), true, nil)
}

// enterRequest reads the cards of the car.
func (w *Window) enterRequest() {
	w.card.said = ""
	w.withCards(func(context.Context, int64) (string, error) { return "", nil })
}

// withCards does something with the cards of the car and reads them again.
func (w *Window) withCards(do func(ctx context.Context, car int64) (said string, err error)) {
	id := w.car().ID
	if id == 0 || w.engine.Log == nil {
		w.card.cards, w.card.of = nil, 0
		return
	}
	explainer := w.explainer()
	w.act(func(ctx context.Context) func() {
		said, err := do(ctx, id)
		cards, e := w.engine.Log.Cards(ctx, id)
		var checked []diag.CheckedCard
		for _, c := range cards {
			checked = append(checked, diag.CheckCard(c, explainer))
		}
		return func() {
			w.card.cards, w.card.of, w.card.err = checked, id, errors.Join(err, e)
			if said != "" || err != nil {
				w.card.said = said
			}
		}
	})
}

// explainer explains with what is known of the car.
func (w *Window) explainer() func(string, explain.Wish) explain.Explanation {
	if v := w.link.visit; v != nil {
		return v.Explain
	}
	return w.engine.Explain
}

// newCard opens the form for a card of what is typed.
func (w *Window) newCard() {
	c, ok := diag.NewCard(w.req.explained, w.moduleAsked(), w.now())
	if !ok {
		return
	}
	w.card.writing, w.card.said = true, ""
	w.card.title.SetText(c.Title)
	for _, f := range []*look.Field{w.card.who, w.card.where, w.card.expect} {
		f.SetText("")
	}
	w.draw()
}

// moduleAsked is the name of the module that the request is for, "" when it is not known.
func (w *Window) moduleAsked() string {
	if w.req.explained.Frame == nil {
		return ""
	}
	for _, m := range w.code.modules {
		if m.Request == w.req.explained.Frame.ID {
			return m.Name
		}
	}
	return ""
}

func (w *Window) keepCard() {
	c, ok := diag.NewCard(w.req.explained, w.moduleAsked(), w.now())
	if !ok {
		return
	}
	if t := strings.TrimSpace(w.card.title.Text); t != "" {
		c.Title = t
	}
	c.Who, c.Where, c.Expect = w.card.who.Text, w.card.where.Text, strings.ToUpper(strings.ReplaceAll(w.card.expect.Text, " ", ""))
	w.card.writing = false
	w.withCards(func(ctx context.Context, car int64) (string, error) {
		_, err := w.engine.Log.PutCard(ctx, car, c)
		return T("card.kept"), err
	})
	w.draw()
}

func (w *Window) removeCard(id int64) {
	w.withCards(func(ctx context.Context, _ int64) (string, error) {
		return T("card.removed"), w.engine.Log.RemoveCard(ctx, id)
	})
}

// takeCards keeps the cards of a text with the car.
func (w *Window) takeCards(text []byte) {
	w.withCards(func(ctx context.Context, car int64) (string, error) {
		cards, err := garage.ReadCards(text)
		if err != nil {
			return "", err
		}
		for _, c := range cards {
			if _, err := w.engine.Log.PutCard(ctx, car, c); err != nil {
				return "", err
			}
		}
		return N("card.taken", len(cards)), nil
	})
}

// openCards lets the owner choose a file with cards.
func (w *Window) openCards() {
	w.chooseFile("", []string{cardFile}, func(path string) {
		f, err := os.Open(path)
		if err != nil {
			w.card.err = err
			return
		}
		w.readCards(f)
	})
}

// readCards reads what was chosen or dropped, no more of it than a text of cards may have.
func (w *Window) readCards(r io.ReadCloser) {
	text, err := io.ReadAll(io.LimitReader(r, garage.MaxCards+1))
	if err = errors.Join(err, r.Close()); err != nil {
		w.card.err = fmt.Errorf("app: reading request cards: %w", err)
		w.draw()
		return
	}
	w.takeCards(text)
}

// handOn lets the owner write a card into a file for somebody else.
func (w *Window) handOn(c garage.Card) {
	w.chooseTarget("", T("card.file"), cardFile, func(path string) {
		if w.card.err = os.WriteFile(path, garage.WriteCards([]garage.Card{c}), 0o600); w.card.err == nil {
			w.card.said = T("card.handed")
		}
	})
}

// cardForm is the form for a card of the request that is shown.
func (w *Window) cardForm() fyne.CanvasObject {
	c := &w.card
	entry := func(label string, f *look.Field) fyne.CanvasObject {
		return look.Row(12, look.Fixed(look.Scaled(140), look.Body(label)), look.Growing(f))
	}
	return look.Boxed(look.Stack(10, look.Head(T("card.new")), look.Small(T("card.new.lead")),
		entry(T("card.title"), c.title), entry(T("card.who"), c.who), entry(T("card.where"), c.where), entry(T("card.expect"), c.expect),
		look.Buttons(look.NewButton("card-keep", T("card.keep"), look.Plain, w.keepCard), look.NewButton("card-leave", T("cancel"), look.Quiet, func() { c.writing = false; w.draw() }))))
}

// cardNews is what came of the last act with a card.
func (w *Window) cardNews() []fyne.CanvasObject {
	switch {
	case w.card.err != nil:
		return []fyne.CanvasObject{look.Noted(look.Alert, look.Body(errorText(w.card.err)))}
	case w.card.said != "":
		return []fyne.CanvasObject{look.Small(w.card.said)}
	}
	return nil
}

// cardList are the cards of this car.
func (w *Window) cardList() fyne.CanvasObject {
	parts := []fyne.CanvasObject{look.Head(T("card.list")), look.Small(T("card.list.lead"))}
	parts = append(parts, w.cardNews()...)
	if w.car().ID == 0 {
		return look.Stack(8, append(parts, look.Small(T("card.no-car")))...)
	}
	var rows []fyne.CanvasObject
	for _, c := range w.card.cards {
		story := dots(named(c.Module), c.Who, c.Where)
		texts := []fyne.CanvasObject{look.AsIs(c.Title, look.Style{Bold: true}), look.Styled(c.Request, look.Style{Mono: true, Size: look.SizeSmall})}
		if story != "" {
			texts = append(texts, look.AsIs(story, look.Style{Size: look.SizeSmall, Color: look.Soft}))
		}
		acts := []fyne.CanvasObject{}
		if c.Trouble != "" {
			texts = append(texts, look.State(look.MarkOpen, c.Trouble))
		} else {
			acts = append(acts, look.NewButton(fmt.Sprintf("card %d", c.ID), T("card.use"), look.Plain, func() { w.req.field.SetText(spacedFrame(c.Request)) }).Small())
		}
		acts = append(acts, look.NewButton(fmt.Sprintf("hand %d", c.ID), T("card.hand"), look.Quiet, func() { w.handOn(c.Card) }),
			look.NewButton(fmt.Sprintf("drop %d", c.ID), T("card.remove"), look.Quiet, func() { w.removeCard(c.ID) }))
		rows = append(rows, look.Pad(8, 12, 6, 14, look.Stack(4, look.Stack(1, texts...), look.Wrap(4, acts...))))
	}
	if len(rows) > 0 {
		parts = append(parts, look.Rows(rows...))
	}
	return look.Stack(8, append(parts, look.Buttons(look.NewButton("cards-open", T("card.open"), look.Plain, w.openCards).Small()))...)
}

// spacedFrame writes a canonical request as it is read most easily.
func spacedFrame(canonical string) string {
	id, data, ok := strings.Cut(canonical, "#")
	if !ok {
		return canonical
	}
	return id + " " + spaced(data)
}

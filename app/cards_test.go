package app

import (
	"bytes"
	"io"
	"strings"
	"testing"

	"readback/app/look"
	"readback/diag/explain"
	"readback/diag/garage"
)

// TestChooser: without typing anything an owner gets a request for what they want of a module.
func TestChooser(t *testing.T) {
	v := vanVisit()
	for i := range v.modules {
		v.modules[i].Address.Request, v.modules[i].Address.Answer = v.modules[i].Request, v.modules[i].Answer
	}
	b := newBench(t, setup{visit: v})
	b.read()
	b.w.Show(PageRequest)
	b.says("Or say what you want", "Charging (7E5)", "Brakes (760)")
	b.tap("deed erase")
	b.tap("choose 7E5")
	if b.w.req.field.Text != clearText || b.w.req.wish != explain.WishClear {
		t.Errorf("the request is %q, the wish %q", b.w.req.field.Text, b.w.req.wish)
	}
	b.says("maple")
	b.tap("request-again")
	b.says("Or say what you want")
	if b.w.req.wish != "" {
		t.Errorf("the wish is still %q", b.w.req.wish)
	}
}

// TestCards: a request is kept as a card, taken again, and removed.
func TestCards(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.write(clearText)
	b.tap("card-new")
	b.w.card.who.SetText("a workshop")
	b.tap("card-keep")
	b.until("kept", func() bool { return len(b.w.card.cards) == 1 })
	b.says("The card is kept")
	got := b.log.cards[0]
	if got.Request != "7E5#0414FFFFFF555555" || got.Words != "maple orbit thirteen" || got.Who != "a workshop" || got.Module != "Charging" {
		t.Errorf("%+v", got)
	}
	b.w.req.field.SetText("")
	b.says("a workshop", "7E5#0414FFFFFF555555")
	b.visit.explains["7E5#0414FFFFFF555555"] = clearCharging()
	b.w.enterRequest()
	b.until("checked", func() bool { return b.w.card.cards[0].Trouble == "" })
	b.tap("card 1")
	if b.w.req.field.Text != clearText {
		t.Errorf("the card gives %q", b.w.req.field.Text)
	}
	b.w.req.field.SetText("")
	b.tap("drop 1")
	b.until("removed", func() bool { return len(b.w.card.cards) == 0 })
	b.says("The card is removed.")
}

// TestCardsFromFile: cards of a file are explained afresh; one that was damaged is not taken, and the page says why.
func TestCardsFromFile(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.w.Show(PageRequest)
	b.visit.explains["7E5#0414FFFFFF555555"] = clearCharging()
	good := garage.Card{Title: "Forget the codes", Request: "7E5#0414FFFFFF555555", Words: "maple orbit thirteen"}
	lying := garage.Card{Title: "Only reads", Request: "7E5#0414FFFFFF555555", Words: "able bacon cactus"}
	text := garage.WriteCards([]garage.Card{good, lying})
	b.w.readCards(io.NopCloser(bytes.NewReader(text)))
	b.until("taken", func() bool { return len(b.w.card.cards) == 2 })
	b.says("2 cards were taken over.", "belong to another request")
	if look.Find(b.w.main.Object, "card 1") == nil || look.Find(b.w.main.Object, "card 2") != nil {
		t.Error("a card whose words do not fit can be used")
	}
	b.w.readCards(io.NopCloser(strings.NewReader(strings.Replace(string(text), "Only", "Just", 1))))
	b.until("refused", func() bool { return b.w.card.err != nil })
	b.says("Line 11: the card is not as it was written", "None of them was kept.")
}

// TestNotes: the owner's note on a maker's code stands in its row as a note, with who said it.
func TestNotes(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.tap("note-new")
	b.w.note.text.SetText("Charge-flap lock")
	b.w.note.who.SetText("owners' meeting")
	b.tap("note-keep")
	b.until("kept", func() bool { return len(b.w.note.notes) == 1 })
	b.says("Charge-flap lock, by your own note")
	if m := b.margin(); !strings.Contains(m, "Your note") || !strings.Contains(m, "owners' meeting") {
		t.Errorf("the margin says %q", m)
	}
	if n := b.log.notes[0]; n.Code != "P1D5A-13" || n.At.IsZero() {
		t.Errorf("%+v", n)
	}
}

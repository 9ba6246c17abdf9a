package diag

import (
	"strings"
	"time"

	"readback/diag/explain"
	"readback/diag/garage"
)

// CheckedCard is a card with its request explained afresh: what the card says of it is not believed.
type CheckedCard struct {
	garage.Card
	Explained explain.Explanation
	Trouble   string // what does not fit, a sentence; "" when all of it does
}

// CheckCard explains the request of a card. explainer knows the car where there is one.
func CheckCard(c garage.Card, explainer func(text string, wish explain.Wish) explain.Explanation) CheckedCard {
	out := CheckedCard{Card: c, Explained: explainer(c.Request, "")}
	switch e := out.Explained; {
	case e.Direction == explain.Answer || e.Direction == explain.Flow:
		out.Trouble = "What stands on this card is not a request."
	case e.Frame == nil || e.Wrong():
		out.Trouble = "The request on this card is not well formed."
	case explain.Canonical(e.Frame.ID, e.Frame.Data) != c.Request:
		out.Trouble = "The request on this card is not written in full, so its words can't be checked."
	case c.Words != "" && c.Words != strings.Join(e.Words[:], " "):
		out.Trouble = "The words on this card belong to another request. Ask the person who gave it to you."
	}
	return out
}

// NewCard is a card for a request that has been explained. It tells false where there is no whole request to keep.
func NewCard(e explain.Explanation, module string, now time.Time) (garage.Card, bool) {
	if e.Frame == nil || e.Words == nil || e.Wrong() || e.Direction != explain.Request {
		return garage.Card{}, false
	}
	return garage.Card{Title: strings.TrimSuffix(e.Summary, "."), Module: module, Request: explain.Canonical(e.Frame.ID, e.Frame.Data),
		Words: strings.Join(e.Words[:], " "), At: now}, true
}

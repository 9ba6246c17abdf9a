package diag

import (
	"strings"
	"testing"
	"time"

	"readback/diag/explain"
)

func TestCards(t *testing.T) {
	now := time.Date(2026, 11, 25, 14, 0, 0, 0, time.UTC)
	c, ok := NewCard(Explain("7E5 04 14 ff ff ff 55 55 55", ""), "Charging", now)
	if !ok || c.Request != "7E5#0414FFFFFF555555" || c.Title == "" || len(strings.Fields(c.Words)) != 3 {
		t.Fatalf("%+v, %v", c, ok)
	}
	for _, text := range []string{"", "7E5 14 FF FF FF", "7ED 01 54 55 55 55 55 55 55", "hello"} {
		if c, ok := NewCard(Explain(text, ""), "", now); ok {
			t.Errorf("%q became the card %+v", text, c)
		}
	}
	if got := CheckCard(c, Explain); got.Trouble != "" || got.Explained.Class != explain.Change {
		t.Errorf("a sound card: %q, %s", got.Trouble, got.Explained.Class)
	}
	for change, sign := range map[string]string{
		"7E5#0414FFFFFE555555":        "another request",
		"7E5 04 14 FF FF FF 55 55 55": "not written in full",
		"7E5#0514FFFFFF":              "not well formed",
		"7ED#0154555555555555":        "not a request",
		"":                            "not well formed",
	} {
		bad := c
		bad.Request = change
		if got := CheckCard(bad, Explain); !strings.Contains(got.Trouble, sign) {
			t.Errorf("%q: %q does not say %q", change, got.Trouble, sign)
		}
	}
}

package garage

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func card() Card {
	return Card{Title: "Make the charging module forget its codes", Module: "Charging", Request: "7E5#0414FFFFFF555555", Words: "maple orbit thirteen",
		Expect: "54", Who: "a workshop", Where: "the owners' meeting, page 4", At: time.Date(2026, 7, 3, 0, 0, 0, 0, time.UTC)}
}

func TestCards(t *testing.T) {
	s := fresh(t)
	car, err := s.PutCar(t.Context(), Car{Name: "Van"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutCard(t.Context(), 99, card()); !errors.Is(err, ErrNotFound) {
		t.Errorf("a card without a car: %v", err)
	}
	first, err := s.PutCard(t.Context(), car.ID, card())
	if err != nil {
		t.Fatal(err)
	}
	changed := card()
	changed.Where = "  a letter "
	again, err := s.PutCard(t.Context(), car.ID, changed)
	if err != nil || again.ID != first.ID || again.Where != "a letter" {
		t.Errorf("the same card again: %v, %v", again, err)
	}
	other := card()
	other.Title = "Another one"
	if _, err := s.PutCard(t.Context(), car.ID, other); err != nil {
		t.Fatal(err)
	}
	cards, err := s.Cards(t.Context(), car.ID)
	if err != nil || len(cards) != 2 || cards[0].Title != "Another one" || cards[1].Where != "a letter" {
		t.Fatalf("cards %v, %v", cards, err)
	}
	if err := s.RemoveCard(t.Context(), first.ID); err != nil {
		t.Error(err)
	}
	if err := s.RemoveCard(t.Context(), first.ID); !errors.Is(err, ErrNotFound) {
		t.Errorf("removed twice: %v", err)
	}
	if cards, _ := s.Cards(t.Context(), car.ID); len(cards) != 1 {
		t.Errorf("cards left: %v", cards)
	}
}

func TestCardText(t *testing.T) {
	bare := Card{Title: "Read the codes", Request: "7E5#031902FF55555555"}
	want := []Card{card(), bare}
	text := WriteCards(want)
	got, err := ReadCards(text)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	for name, same := range map[string]string{
		"other line ends":   strings.ReplaceAll(string(text), "\n", "\r\n"),
		"blanks at ends":    strings.ReplaceAll(string(text), "\n", "  \n"),
		"a mark at the top": "\ufeff" + string(text),
		"empty lines":       "\n\n" + string(text) + "\n\n",
	} {
		if got, err := ReadCards([]byte(same)); err != nil || !cmp.Equal(want, got) {
			t.Errorf("%s: %v", name, err)
		}
	}
	odd := card()
	odd.Title = "two\nlines\tand \x00 more " + strings.Repeat("x", 600)
	if got, err := ReadCards(WriteCards([]Card{odd})); err != nil || strings.ContainsAny(got[0].Title, "\n\t\x00") || len(got[0].Title) > maxValue {
		t.Errorf("an odd title: %v, %v", got, err)
	}
}

// Every single letter of a card that changes on the way is found.
func TestCardTextChanged(t *testing.T) {
	text := WriteCards([]Card{card()})
	for i := range text {
		if text[i] == '\n' {
			continue
		}
		for _, b := range []byte{text[i] ^ 1, text[i] ^ 0x20} {
			if b == '\n' || b == '\r' || b == ' ' && text[i] == '\t' {
				continue
			}
			damaged := append([]byte{}, text...)
			damaged[i] = b
			got, err := ReadCards(damaged)
			var e *CardError
			if err != nil && !errors.As(err, &e) {
				t.Fatalf("byte %d: %v", i, err)
			}
			if err == nil && !cmp.Equal([]Card{card()}, got) {
				t.Fatalf("byte %d as %q: taken as %+v", i, b, got)
			}
		}
	}
}

func TestCardTextRefused(t *testing.T) {
	good := string(WriteCards([]Card{card()}))
	head := cardHead + "1\n"
	sealed := func(block string) string { return block + "Check: " + checkOf([]byte(block)) + "\n" }
	for _, c := range []struct {
		name, text string
		line       int
	}{
		{"nothing", "", 0},
		{"another text", "Dear owner,\nsend 04 14 FF FF FF", 1},
		{"a newer version", strings.Replace(good, "version 1", "version 2", 1), 1},
		{"without its end", good[:strings.Index(good, "Check")], 1},
		{"a line twice", head + "Title: a\nTitle: b\n", 3},
		{"a line it does not have", head + "Price: a\n", 2},
		{"a line without a colon", head + "Title\n", 2},
		{"no request", sealed(head + "Title: a\n"), 3},
		{"no title", sealed(head + "Request: 7E5#0414FFFFFF555555\n"), 3},
		{"a date of its own", sealed(head + "Title: a\nRequest: b\nWritten: today\n"), 4},
		{"another check", strings.Replace(good, "Check: ", "Check: 0", 1), 10},
		{"too long", strings.Repeat(good, 2000), 0},
		{"a long value", head + "Title: " + strings.Repeat("x", 501) + "\n", 2},
		{"not UTF-8", good + "\xff", 0},
		{"one good, one damaged", good + "\n" + strings.Replace(good, "7E5", "7E6", 1), 21},
	} {
		got, err := ReadCards([]byte(c.text))
		var e *CardError
		if !errors.As(err, &e) || got != nil {
			t.Errorf("%s: %v, %v", c.name, got, err)
			continue
		}
		if e.Line != c.line {
			t.Errorf("%s: line %d, not %d: %v", c.name, e.Line, c.line, err)
		}
	}
}

func FuzzCards(f *testing.F) {
	f.Add(WriteCards([]Card{card()}))
	f.Add(WriteCards([]Card{card(), {Title: "a", Request: "b"}}))
	f.Add([]byte(cardHead + "1\nTitle: a\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		cards, err := ReadCards(text)
		if err != nil {
			return
		}
		again, err := ReadCards(WriteCards(cards))
		if err != nil || !cmp.Equal(cards, again) {
			t.Fatal(fmt.Sprint(err), cmp.Diff(cards, again))
		}
	})
}

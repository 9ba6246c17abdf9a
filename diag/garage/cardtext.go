package garage

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// The text form of cards, for handing them to somebody else: one block a card, a line a value, a check at its end.
//
//	Readback request card, version 1
//	Title: Make the charging module forget its codes
//	Module: Charging
//	Request: 7E5#0414FFFFFF555555
//	Words: maple orbit thirteen
//	Expected answer: 54
//	Proposed by: a workshop
//	Seen at: the owners' meeting
//	Written: 2026-11-25
//	Check: 0123456789abcdef
//
// The check finds what was damaged on the way. It proves nothing about who wrote the card.
const (
	cardHead    = "Readback request card, version "
	cardVersion = 1
	cardCheck   = "Check"
	// MaxCards is the longest text of cards that is read, in bytes.
	MaxCards = 256 << 10
	maxValue = 500 // letters of one value

	noEnd = "the card that begins here has no end: its last line, Check, is missing"
)

// cardKeys are the lines of a block in their order.
var cardKeys = []struct {
	key   string
	value func(*Card) *string
}{
	{"Title", func(c *Card) *string { return &c.Title }},
	{"Module", func(c *Card) *string { return &c.Module }},
	{"Request", func(c *Card) *string { return &c.Request }},
	{"Words", func(c *Card) *string { return &c.Words }},
	{"Expected answer", func(c *Card) *string { return &c.Expect }},
	{"Proposed by", func(c *Card) *string { return &c.Who }},
	{"Seen at", func(c *Card) *string { return &c.Where }},
}

// CardError means that a text of cards can't be taken as it is.
type CardError struct {
	Line  int // counted from 1, 0 for the whole
	Cause string
}

func (e *CardError) Error() string {
	if e.Line == 0 {
		return "garage: request cards: " + e.Cause
	}
	return fmt.Sprintf("garage: request cards: line %d: %s", e.Line, e.Cause)
}

// WriteCards is the text form of cards.
func WriteCards(cards []Card) []byte {
	var out bytes.Buffer
	for i, c := range cards {
		if i > 0 {
			out.WriteByte('\n')
		}
		out.Write(writeCard(c))
	}
	return out.Bytes()
}

func writeCard(c Card) []byte {
	c = c.trimmed()
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s%d\n", cardHead, cardVersion)
	for _, k := range cardKeys {
		if v := oneLine(*k.value(&c)); v != "" {
			fmt.Fprintf(&b, "%s: %s\n", k.key, v)
		}
	}
	if !c.At.IsZero() {
		fmt.Fprintf(&b, "Written: %s\n", c.At.Format(time.DateOnly))
	}
	fmt.Fprintf(&b, "%s: %s\n", cardCheck, checkOf(b.Bytes()))
	return b.Bytes()
}

// oneLine is a value as one line of at most maxValue letters, without what does not print.
func oneLine(s string) string {
	s = strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsPrint(r) }), " ")
	if utf8.RuneCountInString(s) > maxValue {
		s = strings.TrimSpace(string([]rune(s)[:maxValue]))
	}
	return s
}

func checkOf(block []byte) string { return fmt.Sprintf("%x", sha256.Sum256(block))[:16] }

// ReadCards reads the text form of cards. Line endings and blanks at the ends of lines don't count. Every error is a
// [*CardError], and then no card is returned: what was damaged on the way is not taken in part.
func ReadCards(text []byte) ([]Card, error) {
	switch {
	case len(text) > MaxCards:
		return nil, &CardError{Cause: fmt.Sprintf("the text has %d bytes, more than %d", len(text), MaxCards)}
	case !utf8.Valid(text):
		return nil, &CardError{Cause: "the text is not UTF-8"}
	}
	var cards []Card
	var block *cardBlock
	for i, line := range strings.Split(strings.TrimPrefix(string(text), "\ufeff"), "\n") {
		line, at := strings.TrimRight(line, " \t\r"), i+1
		switch version, head := strings.CutPrefix(line, cardHead); {
		case block == nil && line == "":
		case block == nil && !head:
			return nil, &CardError{at, fmt.Sprintf("a card begins with %q", strings.TrimSpace(cardHead))}
		case block == nil && version != fmt.Sprint(cardVersion):
			return nil, &CardError{at, fmt.Sprintf("this program reads version %d of a card, this is version %s", cardVersion, oneLine(version))}
		case block == nil:
			block = &cardBlock{begun: at, seen: map[string]bool{}}
			block.text.WriteString(line + "\n")
		case line == "":
			return nil, &CardError{block.begun, noEnd}
		default:
			done, err := block.take(line)
			if err != "" {
				return nil, &CardError{at, err}
			}
			if done {
				cards = append(cards, block.card)
				block = nil
			}
		}
	}
	switch {
	case block != nil:
		return nil, &CardError{block.begun, noEnd}
	case len(cards) == 0:
		return nil, &CardError{Cause: "there is no card in this text"}
	}
	return cards, nil
}

// cardBlock is one card while it is read.
type cardBlock struct {
	begun int
	card  Card
	seen  map[string]bool
	text  bytes.Buffer
}

// take reads one line; done tells that it was the last one, trouble what is wrong with it.
func (b *cardBlock) take(line string) (done bool, trouble string) {
	key, value, ok := strings.Cut(line, ":")
	value = strings.TrimSpace(value)
	switch {
	case !ok:
		return false, "a line of a card is a name, a colon and a value"
	case b.seen[key]:
		return false, fmt.Sprintf("%q stands in this card twice", key)
	case value != oneLine(value):
		return false, fmt.Sprintf("the value of %q is too long or holds letters that don't print", oneLine(key))
	}
	b.seen[key] = true
	if key == cardCheck {
		return true, b.end(value)
	}
	b.text.WriteString(line + "\n")
	if key == "Written" {
		at, err := time.Parse(time.DateOnly, value)
		if err != nil {
			return false, "the date is not written as year-month-day"
		}
		b.card.At = at
		return false, ""
	}
	for _, k := range cardKeys {
		if k.key == key {
			*k.value(&b.card) = value
			return false, ""
		}
	}
	return false, fmt.Sprintf("a card has no line named %q", oneLine(key))
}

func (b *cardBlock) end(check string) string {
	switch {
	case check != checkOf(b.text.Bytes()):
		return "the card is not as it was written: its check does not fit"
	case b.card.Request == "":
		return "the card has no request"
	case b.card.Title == "":
		return "the card has no title"
	}
	return ""
}

package app

import (
	"slices"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/explain"
	"readback/diag/talk"
)

// talkColumn is a part of a conversation as rows, an exchange each. Rows that are open show all that was said.
type talkColumn struct {
	view     *talk.View
	talk     *talk.Talk
	first, n int
	odd      []int
}

func newTalkColumn(v *talk.View, t *talk.Talk, first int, opened map[uint32]bool) *talkColumn {
	c := &talkColumn{view: v, talk: t, first: first, n: min(talkPart, v.Len()-first)}
	for number := range opened {
		if i := v.Find(number); i >= first && i < first+c.n && v.Row(i).Number == number {
			c.odd = append(c.odd, i-first)
		}
	}
	slices.Sort(c.odd)
	return c
}

func (c *talkColumn) Len() int               { return c.n }
func (c *talkColumn) Heading(int) bool       { return false }
func (c *talkColumn) Odd(float32) []int      { return c.odd }
func (c *talkColumn) row(i int) talk.Row     { return c.view.Row(c.first + i) }
func (c *talkColumn) at(i int) talk.Exchange { return c.view.Exchange(c.first + i) }

func (c *talkColumn) Height(i int, width float32) float32 { return look.HeightFor(c.Build(i), width) }

func (c *talkColumn) EvenHeight(width float32) float32 {
	return look.HeightFor(exchangeLine(talk.Exchange{}), width)
}

func (c *talkColumn) Build(i int) fyne.CanvasObject {
	if _, open := slices.BinarySearch(c.odd, i); open {
		return c.opened(c.at(i))
	}
	return exchangeLine(c.at(i))
}

// outcomes are the marks of what has become of a question.
var outcomes = map[talk.Outcome]look.Sign{talk.Answered: look.MarkCheck, talk.Refused: look.MarkOpen, talk.Waiting: look.MarkWaiting, talk.Silent: look.MarkUntested,
	talk.NotWanted: look.MarkRemembered, talk.Torn: look.MarkUnknown, talk.Unasked: look.MarkRemembered, talk.Trouble: look.MarkUnknown}

var (
	cutBytes = look.Style{Mono: true, Size: look.SizeSmall}
	cutWords = look.Style{Size: look.SizeSmall}
	cutSoft  = look.Style{Size: look.SizeSmall, Color: look.Soft}
	cutFine  = look.Style{Size: look.SizeFine, Color: look.Soft}
)

func cut(s string, st look.Style) fyne.CanvasObject { return look.NewCut(look.Run{Text: s, Style: st}) }

// headCut says when it was, with whom, and whether it was a change.
func headCut(x talk.Exchange) fyne.CanvasObject {
	runs := []look.Run{{Text: clockFine(x.At), Style: cutFine}, {Text: "  " + moduleName(x.Module, x.Address), Style: look.Style{Bold: true, Size: look.SizeSmall}}}
	if !x.Address.Request.IsZero() && x.Module != "" {
		runs = append(runs, look.Run{Text: "  " + x.Address.String(), Style: cutFine})
	}
	if x.Asked.Class == explain.Change && x.Asked.Text != "" {
		runs = append(runs, look.Run{Text: "  " + T("class.change"), Style: look.Style{Bold: true, Size: look.SizeFine, Color: look.Alert}})
	}
	return look.NewCut(runs...)
}

func endCut(x talk.Exchange) fyne.CanvasObject {
	return look.Row(8, look.Natural(look.NewMark(outcomes[x.Outcome], 13)), look.Growing(cut(told(x.Words()), cutWords)))
}

// shownBytes is how much of a message is written out in a list.
const shownBytes = 48

func headBytes(m *talk.Message) string {
	if m == nil {
		return ""
	}
	return bytesOf(m.Payload[:min(len(m.Payload), shownBytes)])
}

// sides are the question of an exchange and the answer that counts, nil where there is none.
func sides(x talk.Exchange) (asked, answer *talk.Message) {
	for i := range x.Messages {
		m := &x.Messages[i]
		switch {
		case m.Question:
			asked = m
		case answer == nil || isWait(*answer):
			answer = m
		}
	}
	return asked, answer
}

// stillWorking is the code of a refusal that is none: the module has understood and asks for time (ISO 14229-1, annex A).
const stillWorking = 0x78

func isWait(m talk.Message) bool {
	return explain.Summary(m.Address, m.Payload, explain.Options{}).Refusal == stillWorking
}

// exchangeLine is an exchange in a list: question over answer, bytes beside meaning. All are equally high.
func exchangeLine(x talk.Exchange) fyne.CanvasObject {
	asked, answer := sides(x)
	if x.Outcome == talk.Trouble {
		return troubleLine(x)
	}
	line := func(word string, m *talk.Message, words string) fyne.CanvasObject {
		if m == nil && words == "" {
			word = ""
		}
		return look.Row(10, look.Fixed(look.Scaled(46), cut(word, cutFine)), look.Fixed(look.Scaled(160), cut(headBytes(m), cutBytes)), look.Growing(cut(words, cutWords)))
	}
	slim := func(word string, m *talk.Message, words string) fyne.CanvasObject {
		if m == nil && words == "" {
			word = ""
		}
		tag := look.Fixed(look.Scaled(46), cut(word, cutFine))
		return look.Stack(0, look.Row(8, tag, look.Growing(cut(words, cutWords))), cut(headBytes(m), look.Style{Mono: true, Size: look.SizeSmall, Color: look.Soft}))
	}
	talked := func(form func(string, *talk.Message, string) fyne.CanvasObject) (q, a fyne.CanvasObject) {
		return form(T("talk.asked"), asked, told(x.Asked.Text)), form(T("talk.said"), answer, told(x.Said.Text))
	}
	q1, a1 := talked(line)
	q2, a2 := talked(line)
	q3, a3 := talked(slim)
	return look.Pad(8, 14, 8, 14, look.Either(look.Scaled(560), look.Stack(2, look.Row(12, look.Growing(headCut(x)), look.Growing(endCut(x))), q1, a1),
		look.Either(look.Scaled(390), look.Stack(2, headCut(x), endCut(x), q2, a2), look.Stack(2, headCut(x), endCut(x), q3, a3))))
}

// troubleLine is what went wrong, in a list: as high as an exchange, with all its width for the words.
func troubleLine(x talk.Exchange) fyne.CanvasObject {
	words := func() fyne.CanvasObject {
		return look.Row(10, look.Fixed(look.Scaled(46), cut(T("talk.noted"), cutFine)), look.Growing(cut(told(x.Text), cutWords)))
	}
	head := func() fyne.CanvasObject { return look.Row(12, look.Growing(headCut(x)), look.Growing(endCut(x))) }
	none := func() fyne.CanvasObject { return cut("", cutWords) }
	return look.Pad(8, 14, 8, 14, look.Either(look.Scaled(560), look.Stack(2, head(), words(), none()), look.Stack(2, headCut(x), endCut(x), words(), none())))
}

// Limits of what an open row shows; the explanation in the margin has the rest.
const (
	openBytes  = 256
	openFrames = 32
)

// opened is an exchange with all that was said, each message with the frames that carried it.
func (c *talkColumn) opened(x talk.Exchange) fyne.CanvasObject {
	parts := []fyne.CanvasObject{headCut(x), endCut(x)}
	if x.Outcome == talk.Trouble {
		parts = append(parts, look.Small(told(x.Text)))
	}
	var last talk.Message
	for _, m := range x.Messages {
		if m.Question {
			last = m
		}
		text := bytesOf(m.Payload[:min(len(m.Payload), openBytes)])
		if n := len(m.Payload) - openBytes; n > 0 {
			text = N("talk.bytes.more", n, "Bytes", text)
		}
		if !m.Whole {
			text = T("talk.torn", "Bytes", text, "Have", len(m.Payload), "Want", m.Want)
		}
		after := T("talk.at.start")
		if !m.Question && !last.Ended.IsZero() {
			after = T("talk.at", "Time", lasting(m.Ended.Sub(last.Ended)))
		}
		parts = append(parts, look.Bubble(m.Question, text, told(c.talk.Explain(m).Summary)), look.Pad(0, 0, 4, 0, c.frames(m, after)))
	}
	return look.Pad(8, 14, 10, 14, look.Stack(5, parts...))
}

// frames are the frames of a message, each with what it is for.
func (c *talkColumn) frames(m talk.Message, after string) fyne.CanvasObject {
	head := after
	if n := len(m.Frames); n > 0 {
		head = dots(after, N("talk.frames", n))
	}
	parts := []fyne.CanvasObject{look.Fine(head)}
	for i, f := range m.Frames {
		if i == openFrames {
			parts = append(parts, look.Fine(N("talk.frames.more", len(m.Frames)-openFrames)))
			break
		}
		bytes := look.NewText(look.Run{Text: f.ID.String() + "  " + bytesOf(f.Data), Style: look.Style{Mono: true, Size: look.SizeFine, Color: look.Soft}})
		words := look.Fine(told(explain.SummaryFrame(f.ID, f.Data, explain.Options{}).Text))
		parts = append(parts, look.Either(look.Scaled(430), look.Row(10, look.Fixed(look.Scaled(236), bytes).At(look.Top), look.Growing(words).At(look.Top)),
			look.Stack(0, look.NewText(look.Run{Text: f.ID.String() + "  " + bytesOf(f.Data), Style: look.Style{Mono: true, Size: look.SizeFine, Color: look.Soft}}), look.Fine(told(explain.SummaryFrame(f.ID, f.Data, explain.Options{}).Text)))))
	}
	return look.Stack(1, parts...)
}

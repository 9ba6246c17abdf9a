package app

import (
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/dtc"
	"readback/diag/garage"
)

// filter is which codes of a reading are shown.
type filter string

const (
	filterAll     filter = "all"
	filterNow     filter = "now"     // happening now
	filterKept    filter = "kept"    // remembered, or without a new result
	filterUnknown filter = "unknown" // the module does not tell
)

var filters = []filter{filterAll, filterNow, filterKept, filterUnknown}

func (f filter) passes(v diag.CodeView) bool {
	unknown := signs[v.Describe.Verdict] == look.MarkUnknown
	switch f {
	case filterNow:
		return v.Describe.ThereNow
	case filterKept:
		return !v.Describe.ThereNow && !unknown
	case filterUnknown:
		return unknown
	}
	return true
}

// codeRow is a module's heading, or one of its codes.
type codeRow struct {
	heading bool
	module  diag.ModuleView
	view    diag.CodeView
	text    codeText
}

// codeColumn are the codes of a reading as rows, each module's under its heading.
type codeColumn struct{ rows []codeRow }

func (c *codeColumn) Len() int           { return len(c.rows) }
func (c *codeColumn) Heading(i int) bool { return c.rows[i].heading }

func (c *codeColumn) Height(i int, width float32) float32 {
	h := look.HeightFor(c.Build(i), width)
	if c.rows[i].heading {
		return h
	}
	return max(44, h)
}

func (c *codeColumn) Build(i int) fyne.CanvasObject {
	r := c.rows[i]
	if r.heading {
		top := float32(14)
		if i == 0 {
			top = 0
		}
		return look.Pad(top, 0, 6, 0, moduleHead(r.module))
	}
	return codeLine(r)
}

// index is the row of a code, -1 when it is not among them.
func (c *codeColumn) index(key string) int {
	for i, r := range c.rows {
		if !r.heading && codeKey(r.module, r.view) == key {
			return i
		}
	}
	return -1
}

// first is the first row with a code, -1 when there is none.
func (c *codeColumn) first() int {
	for i, r := range c.rows {
		if !r.heading {
			return i
		}
	}
	return -1
}

// codes counts the rows with a code.
func (c *codeColumn) codes() (n int) {
	for _, r := range c.rows {
		if !r.heading {
			n++
		}
	}
	return n
}

// sift are the rows that pass a filter and hold every word of a search, whatever their case.
func (c *codeState) sift(f filter, search string, noteOn func(dtc.Code) (garage.Note, bool)) *codeColumn {
	words := strings.Fields(strings.ToLower(search))
	out := &codeColumn{}
	for _, m := range c.sorted() {
		head := len(out.rows)
		for _, v := range m.Views {
			if f.passes(v) && holds(m, v, words) {
				row := codeRow{module: m, view: v, text: describe(v)}
				if n, ok := noteOn(v.Record.Code); ok {
					row.text = row.text.noted(v, n)
				}
				out.rows = append(out.rows, row)
			}
		}
		if len(out.rows) > head {
			out.rows = append(out.rows, codeRow{})
			copy(out.rows[head+1:], out.rows[head:])
			out.rows[head] = codeRow{heading: true, module: m}
		}
	}
	return out
}

func holds(m diag.ModuleView, v diag.CodeView, words []string) bool {
	if len(words) == 0 {
		return true
	}
	d := v.Describe
	text := strings.ToLower(strings.Join([]string{v.Record.Code.String(), m.Name, m.Request.String(), d.Meaning, d.Line, d.FailureText, d.Area, d.Short, d.Severity,
		named(m.Name), lineOf(v.Record.Code), told(d.FailureText), told(d.Area), told(d.Short), told(d.Severity)}, " "))
	for _, w := range words {
		if !strings.Contains(text, w) {
			return false
		}
	}
	return true
}

// makeCodeParts makes the parts of the page that stay the same while it is built anew.
func (w *Window) makeCodeParts() {
	c := &w.code
	c.filter = filterAll
	c.search = look.NewField("code-search", T("codes.search"), false, func(string) { w.siftCodes(); w.draw() })
	c.list = look.NewMany("codes", func(i int) {
		r := c.column.rows[i]
		c.chosen = codeKey(r.module, r.view)
		w.draw()
	})
	c.column = &codeColumn{}
}

// siftCodes makes the rows anew, after a reading or when the owner looks for something else.
func (w *Window) siftCodes() {
	w.code.column = w.code.sift(w.code.filter, w.code.search.Text, w.noteOn)
}

// sieve is what the owner looks for in a long list.
func (w *Window) sieve() fyne.CanvasObject {
	c := &w.code
	var kinds []fyne.CanvasObject
	for _, f := range filters {
		kinds = append(kinds, look.NewButton("filter-"+string(f), T("codes.filter."+string(f)), look.Quiet, func() {
			c.filter = f
			w.siftCodes()
			w.draw()
		}).Chosen(c.filter == f))
	}
	return look.Stack(2, c.search, look.Wrap(2, kinds...))
}

// fewCodes is the number of codes up to which nobody needs to look for one.
const fewCodes = 12

// codeList is the list, with its sieve once there is enough to look for.
func (w *Window) codeList() fyne.CanvasObject {
	c := &w.code
	all, _, _ := c.count()
	if all == 0 {
		return look.Gap(0)
	}
	at := c.column.index(c.chosen)
	if at < 0 {
		at = c.column.first()
	}
	c.list.Fill(c.column, at)
	var parts []fyne.CanvasObject
	if all > fewCodes {
		parts = append(parts, w.sieve())
	}
	shown := c.column.codes()
	switch {
	case shown == 0:
		parts = append(parts, look.Boxed(look.Body(T("codes.no-match"))))
	case shown < all:
		parts = append(parts, look.Small(T("codes.shown", "Shown", shown, "All", all)), c.list)
	default:
		parts = append(parts, c.list)
	}
	return look.Stack(10, parts...)
}

// moduleHead is the heading over a module's codes.
func moduleHead(m diag.ModuleView) fyne.CanvasObject {
	line := T("codes.module", "Name", named(m.Name), "Request", m.Request.String(), "Answer", m.Answer.String())
	if m.Answer.IsZero() {
		line = T("codes.module.mute", "Name", named(m.Name), "Request", m.Request.String())
	}
	head := look.NewText(look.Run{Text: named(m.Name), Style: look.Style{Bold: true}}, look.Run{Text: "  " + line, Style: look.Style{Size: look.SizeSmall, Color: look.Soft}})
	if !m.Safety {
		return head
	}
	return look.Stack(1, head, look.Styled(T("codes.safety"), look.Style{Size: look.SizeSmall, Color: look.Alert}))
}

// codeLine is one code of the list.
func codeLine(r codeRow) fyne.CanvasObject {
	v, d := r.view, r.text
	return look.Pad(9, 12, 9, 14, look.Either(look.Scaled(420),
		look.Row(12, codeCell(v), look.Growing(look.Stack(1, look.Body(d.title), look.Small(d.detail))), look.Fixed(look.Scaled(152), look.State(d.sign, d.state))),
		look.Row(12, codeCell(v).At(look.Top), look.Growing(look.Stack(1, look.Body(d.title), look.Small(d.detail), look.State(d.sign, d.state))))))
}

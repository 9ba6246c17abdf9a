package app

import (
	"fmt"
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/dtc"
	"readback/diag/garage"
)

// codeText is one code as a row shows it.
type codeText struct {
	title, detail string
	sign          look.Sign
	state         string
}

// describe puts a code into the words of a row.
func describe(v diag.CodeView) codeText {
	d := v.Describe
	line, failure := lineOf(v.Record.Code), ""
	if !d.Known { // the maker's own: only what failed can be told
		line, failure = told(d.Meaning), told(d.FailureText)
	}
	return codeText{title: upperFirst(strings.TrimSuffix(line, ".")), detail: dots(failure, told(d.Area)), sign: signs[d.Verdict], state: told(d.Short)}
}

// noted is the text of a row whose code the owner has a note on: the note says what the maker has not published.
func (t codeText) noted(v diag.CodeView, n garage.Note) codeText {
	if v.Describe.Known {
		return t
	}
	t.title = T("note.title", "Note", upperFirst(strings.TrimSuffix(n.Text, ".")))
	return t
}

// signs are the marks of the verdicts: a triangle for what is there now, a square for what has no new result, a
// question mark for what the module does not tell, a circle for what is remembered.
var signs = map[string]look.Sign{
	dtc.ThereNow.Key(): look.MarkNow, dtc.Remembered.Key(): look.MarkUntested, dtc.NoResult.Key(): look.MarkUntested,
	dtc.VerdictUnknown.Key(): look.MarkUnknown, dtc.Stored.Key(): look.MarkUnknown,
	dtc.CameAndWent.Key(): look.MarkRemembered, dtc.SeenOnce.Key(): look.MarkRemembered, dtc.RememberedPassed.Key(): look.MarkRemembered,
	dtc.RememberedOnly.Key(): look.MarkRemembered, dtc.FailedSinceClear.Key(): look.MarkRemembered, dtc.Fine.Key(): look.MarkRemembered,
	dtc.Pending.Key(): look.MarkRemembered, dtc.Permanent.Key(): look.MarkRemembered,
}

// codeMargin is the full story of the chosen code.
func (w *Window) codeMargin() fyne.CanvasObject {
	m, v, ok := w.code.choice()
	if !ok {
		return w.codesMarginBefore()
	}
	d := v.Describe
	parts := []fyne.CanvasObject{look.Stack(4, look.Styled(v.Record.Code.String(), look.Style{Mono: true, Bold: true, Size: look.SizeHex}), look.Small(named(m.Name)))}
	add := func(head string, said ...string) {
		if text := sentences(said...); text != "" {
			lines := []fyne.CanvasObject{look.Body(text)}
			if head != "" {
				lines = []fyne.CanvasObject{look.Head(head), look.Body(text)}
			}
			parts = append(parts, look.Stack(4, lines...))
		}
	}
	add(T("code.m.letters"), told(d.Letters))
	add(T("code.m.means"), lineOf(v.Record.Code), told(d.Doubt))
	add(T("code.m.state"), told(d.VerdictText))
	add(T("code.m.severity", "Level", told(d.Severity)), told(d.SeverityReason), told(d.Advice))
	add("", told(d.CarJudgement))
	list := func(head string, items []string) {
		if len(items) == 0 {
			return
		}
		rows := []fyne.CanvasObject{look.Head(head)}
		for _, x := range items {
			rows = append(rows, look.Row(8, look.Natural(look.Body("–")).At(look.Top), look.Growing(look.Body(upperFirst(told(x))))))
		}
		parts = append(parts, look.Stack(2, rows...))
	}
	list(T("code.m.causes"), d.Causes)
	list(T("code.m.first"), d.LookFirst)
	add(T("code.m.clear"), told(d.ErasingText))
	if w.car().ID != 0 && w.engine.Log != nil {
		parts = append(parts, w.noteParts(v)...)
	}
	parts = append(parts, w.stored(v.Record)...)
	parts = append(parts, statusRows(m, v.Record))
	source := told(d.Source)
	if source == "" {
		source = T("source.code")
	}
	return w.sourced(source, parts...)
}

// stored are the values that were kept with a code. What is not understood is shown as bytes.
func (w *Window) stored(c garage.CodeRecord) []fyne.CanvasObject {
	var out []fyne.CanvasObject
	for _, s := range c.Snapshots {
		rows := []fyne.CanvasObject{look.Head(T("code.m.stored"))}
		if len(c.Snapshots) > 1 {
			rows = append(rows, look.Small(T("code.m.record", "N", s.Record)))
		}
		for _, x := range s.Values {
			name, text := named(x.Name), measured(x.Text)
			if name == "" {
				name = T("code.m.unknown", "ID", fmt.Sprintf("%04X", x.Identifier))
			}
			if text == "" {
				text = bytesOf(x.Raw)
			}
			rows = append(rows, fact(name, text))
		}
		if len(s.Values) == 0 {
			rows = append(rows, look.Small(T("code.m.bytes")), look.Styled(bytesOf(s.Raw), look.Style{Mono: true, Size: look.SizeSmall}))
		}
		out = append(out, look.Stack(3, rows...))
	}
	var more []fyne.CanvasObject
	for _, x := range c.Extended {
		name, text := named(x.Name), measured(x.Text)
		if name == "" {
			name = T("code.m.record", "N", x.Record)
		}
		if text == "" {
			text = bytesOf(x.Raw)
		}
		more = append(more, fact(name, text))
	}
	if len(more) > 0 {
		out = append(out, look.Stack(3, append([]fyne.CanvasObject{look.Head(T("code.m.more"))}, more...)...))
	}
	return out
}

// statusRows are the bits of the status byte; a bit that the module does not report is "not told".
func statusRows(m diag.ModuleView, c garage.CodeRecord) fyne.CanvasObject {
	if c.Status == nil {
		return look.Small(T("code.m.status.none"))
	}
	mask := dtc.Status(0xFF)
	if m.Availability != nil {
		mask = *m.Availability
	}
	rows := []fyne.CanvasObject{look.Head(T("code.m.status", "Hex", fmt.Sprintf("%02X", byte(*c.Status))))}
	for _, bit := range c.Status.Bits(mask) {
		word := T("bit.no")
		switch {
		case !bit.Known:
			word = T("bit.not-told")
		case bit.Set:
			word = T("bit.yes")
		}
		rows = append(rows, fact(told(bit.Text), word))
	}
	return look.Stack(2, rows...)
}

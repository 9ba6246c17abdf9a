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
	t := codeText{title: upperFirst(d.Meaning), detail: d.FailureText}
	switch {
	case d.ThereNow:
		t.sign, t.state = look.MarkNow, T("state.now")
	case untested(v.Record.Status):
		t.sign, t.state = look.MarkUntested, T("state.untested")
	default:
		t.sign, t.state = look.MarkRemembered, T("state.remembered")
	}
	return t
}

// Bits of the status byte that say that there is no new result (ISO 14229-1 annex D.2, bits 4 and 6).
const noResult = dtc.Status(0x50)

func untested(s *dtc.Status) bool { return s != nil && *s&noResult != 0 }

// codeMargin is the full story of the chosen code.
func (w *Window) codeMargin() fyne.CanvasObject {
	m, v, ok := w.code.choice()
	if !ok {
		return w.codesMarginBefore()
	}
	t := describe(v)
	parts := []fyne.CanvasObject{look.Stack(4, look.Styled(v.Record.Code.String(), look.Style{Mono: true, Bold: true, Size: look.SizeHex}), look.Small(m.Name))}
	add := func(head, text string) {
		if text != "" {
			parts = append(parts, look.Stack(4, look.Head(head), look.Body(text)))
		}
	}
	d := v.Describe
	add(T("code.m.letters"), d.System)
	add(T("code.m.means"), strings.Join(nonEmpty(d.Meaning, d.FailureText), ". "))
	add(T("code.m.severity"), strings.Join(nonEmpty(d.Severity, d.Advice), ". "))
	switch t.sign {
	case look.MarkNow:
		add(T("code.m.clear"), T("code.m.clear.now"))
	case look.MarkUntested:
		add(T("code.m.clear"), T("code.m.clear.untested"))
	default:
		add(T("code.m.clear"), T("code.m.clear.remembered"))
	}
	parts = append(parts, w.stored(v.Record)...)
	parts = append(parts, statusRows(m, v.Record))
	source := d.Source
	if source == "" {
		source = T("source.code")
	}
	return w.sourced(source, parts...)
}

func nonEmpty(s ...string) []string {
	var out []string
	for _, x := range s {
		if x != "" {
			out = append(out, x)
		}
	}
	return out
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
			name, text := x.Name, x.Text
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
		name, text := x.Name, x.Text
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
	for bit := range 8 {
		word := T("bit.no")
		switch b := dtc.Status(1) << bit; {
		case mask&b == 0:
			word = T("bit.not-told")
		case *c.Status&b != 0:
			word = T("bit.yes")
		}
		rows = append(rows, fact(T(fmt.Sprintf("bit.%d", bit)), word))
	}
	return look.Stack(2, rows...)
}

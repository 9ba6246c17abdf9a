package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"

	"readback/diag/tongue"
)

// Lengths on an A4 page, in millimetres; sizes of type in points.
const (
	pageMargin = 16
	bodySize   = 9.5
	tableSize  = 8
	lineHigh   = 4.6
	cellHigh   = 3.9
	cellPad    = 1.2
	widestWish = 260 // of a column: one with much more text than others gets the more of the page
)

// PDF writes the document on A4 pages. made is the time that the file carries.
func PDF(w io.Writer, d Document, made time.Time) error {
	p := &printer{Fpdf: fpdf.New("P", "mm", "A4", ""), d: d, l: spoken(d.Language), pages: foreignTo(d)}
	p.SetCreationDate(made.UTC())
	p.SetModificationDate(made.UTC())
	p.SetCatalogSort(true)
	p.SetLang(p.l.Tag())
	p.SetTitle(d.Title, true)
	p.SetCreator("Readback", true)
	p.AddUTF8FontFromBytes("go", "", goregular.TTF)
	p.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	p.AddUTF8FontFromBytes("gomono", "", gomono.TTF)
	p.SetMargins(pageMargin, pageMargin, pageMargin)
	p.SetAutoPageBreak(true, pageMargin+4)
	p.AliasNbPages(p.pages)
	p.SetFooterFunc(p.footer)
	p.AddPage()
	p.write()
	if err := p.Output(w); err != nil {
		return fmt.Errorf("report: writing PDF: %w", err)
	}
	return nil
}

type printer struct {
	*fpdf.Fpdf
	d     Document
	l     *tongue.Tongue
	pages string // stands for the number of pages until that is known
}

// foreignTo is a text that a document does not contain: the library puts the number of pages wherever it stands.
func foreignTo(d Document) string {
	d = d.clone()
	text := "{nb}"
	for taken := true; taken; {
		taken = false
		d.each(func(s string) string {
			taken = taken || strings.Contains(s, text)
			return s
		})
		if taken {
			text = "{" + text + "}"
		}
	}
	return text
}

func (p *printer) width() float64 {
	w, _ := p.GetPageSize()
	return w - 2*pageMargin
}

func (p *printer) marks() string {
	var marks []string
	if p.d.Practice {
		marks = append(marks, p.l.Tell("PRACTICE: a simulated car"))
	}
	if p.d.Shared {
		marks = append(marks, p.l.Tell("Shared copy"))
	}
	return strings.Join(marks, " · ")
}

func (p *printer) footer() {
	p.SetY(-pageMargin + 4)
	p.SetFont("go", "", tableSize)
	p.SetTextColor(0x55, 0x63, 0x6B)
	p.CellFormat(p.width()/2, cellHigh, p.marks(), "", 0, "L", false, 0, "")
	p.CellFormat(p.width()/2, cellHigh, p.l.Say("Page {1} of {2}", fmt.Sprint(p.PageNo()), p.pages), "", 0, "R", false, 0, "")
}

func (p *printer) write() {
	p.SetDrawColor(0xD8, 0xD3, 0xC7)
	p.SetTextColor(0x18, 0x24, 0x2C)
	if m := p.marks(); m != "" {
		p.SetFont("go", "B", bodySize)
		p.SetTextColor(0x8C, 0x5E, 0x00)
		p.MultiCell(p.width(), lineHigh, m, "", "L", false)
		p.SetTextColor(0x18, 0x24, 0x2C)
		p.Ln(2)
	}
	p.SetFont("go", "B", 15)
	p.MultiCell(p.width(), 7, p.d.Title, "", "L", false)
	p.SetFont("go", "", bodySize)
	p.MultiCell(p.width(), lineHigh, p.d.Lead, "", "L", false)
	for _, s := range p.d.Sections {
		p.section(s)
	}
	if len(p.d.Removed) > 0 {
		s := Section{Title: p.l.Tell("Removed from this copy")}
		for _, r := range p.d.Removed {
			s.say(r)
		}
		p.section(s)
	}
}

func (p *printer) section(s Section) {
	p.Ln(4)
	if _, high := p.GetPageSize(); p.GetY() > high-pageMargin-30 {
		p.AddPage()
	}
	p.SetTextColor(0x18, 0x24, 0x2C)
	p.SetFont("go", "B", 11)
	p.MultiCell(p.width(), 6, s.Title, "B", "L", false)
	p.Ln(1.5)
	for _, part := range s.Parts {
		if part.Head == nil {
			p.SetFont("go", "", bodySize)
			p.MultiCell(p.width(), lineHigh, part.Text, "", "L", false)
			p.Ln(1)
			continue
		}
		p.table(part)
	}
}

// table writes a table whose columns are as wide as what stands in them asks for.
func (p *printer) table(t Part) {
	widths := p.columns(t)
	if slices.ContainsFunc(t.Head, func(s string) bool { return s != "" }) {
		p.SetFillColor(0xEC, 0xE8, 0xDD)
		p.row(t, widths, t.Head, true)
	}
	for _, r := range t.Rows {
		p.row(t, widths, r, false)
	}
	p.Ln(1.5)
}

func (p *printer) font(t Part, column int, head bool) {
	switch {
	case head:
		p.SetFont("go", "B", tableSize)
	case slices.Contains(t.Mono, column):
		p.SetFont("gomono", "", tableSize-0.5)
	default:
		p.SetFont("go", "", tableSize)
	}
}

// columns shares the width of the page: no column narrower than its longest word where that is possible.
func (p *printer) columns(t Part) []float64 {
	n := len(t.Head)
	least, want := make([]float64, n), make([]float64, n)
	measure := func(texts []string, head bool) {
		for i, s := range texts[:min(n, len(texts))] {
			p.font(t, i, head)
			want[i] = max(want[i], min(p.GetStringWidth(s), widestWish)+2*cellPad+1)
			for _, word := range strings.Fields(s) {
				least[i] = max(least[i], min(p.GetStringWidth(word), 34)+2*cellPad+1)
			}
		}
	}
	measure(t.Head, true)
	for _, r := range t.Rows {
		measure(r, false)
	}
	total, sumLeast, sumWant := p.width(), 0.0, 0.0
	for i := range n {
		least[i] = max(least[i], 8)
		want[i] = max(want[i], least[i])
		sumLeast, sumWant = sumLeast+least[i], sumWant+want[i]
	}
	widths := make([]float64, n)
	for i := range n {
		switch {
		case sumWant <= total:
			widths[i] = want[i] + (total-sumWant)/float64(n)
		case sumLeast >= total:
			widths[i] = least[i] * total / sumLeast
		default:
			widths[i] = least[i] + (want[i]-least[i])*(total-sumLeast)/(sumWant-sumLeast)
		}
	}
	return widths
}

// row writes one row; a row that does not fit on the page goes to the next one whole.
func (p *printer) row(t Part, widths []float64, cells []string, head bool) {
	lines := make([][]string, len(widths))
	most := 1
	for i := range widths {
		if i >= len(cells) {
			continue
		}
		p.font(t, i, head)
		lines[i] = p.wrapped(cells[i], widths[i]-2*cellPad)
		most = max(most, len(lines[i]))
	}
	_, pageHigh := p.GetPageSize()
	bottom := pageHigh - pageMargin - 4
	for from := 0; from < most; {
		room := int((bottom - p.GetY() - 2*cellPad) / cellHigh)
		if room < min(most-from, 3) {
			p.AddPage()
			continue
		}
		to := min(most, from+room)
		p.stretch(t, widths, lines, from, to, head)
		from = to
	}
}

// stretch writes the lines from one to another of a row.
func (p *printer) stretch(t Part, widths []float64, lines [][]string, from, to int, head bool) {
	x, y := float64(pageMargin), p.GetY()
	high := float64(to-from)*cellHigh + 2*cellPad
	for i, w := range widths {
		style := "D"
		if head {
			style = "FD"
		}
		p.Rect(x, y, w, high, style)
		p.font(t, i, head)
		for k := from; k < to && k < len(lines[i]); k++ {
			p.SetXY(x+cellPad, y+cellPad+float64(k-from)*cellHigh)
			p.CellFormat(w-2*cellPad, cellHigh, lines[i][k], "", 0, "L", false, 0, "")
		}
		x += w
	}
	p.SetXY(pageMargin, y+high)
}

// wrapped breaks a text into lines: between words, and inside a word that is wider than a line.
func (p *printer) wrapped(text string, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		joined := word
		if line != "" {
			joined = line + " " + word
		}
		if p.GetStringWidth(joined) <= width {
			line = joined
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		line = ""
		for _, r := range word {
			if line != "" && p.GetStringWidth(line+string(r)) > width {
				lines = append(lines, line)
				line = ""
			}
			line += string(r)
		}
	}
	return append(lines, line)
}

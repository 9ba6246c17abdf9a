package report

import "readback/diag/tongue"

// Document is a report before it is written: sections of paragraphs and tables. Both forms are written from it, so
// they say the same.
type Document struct {
	Language *tongue.Tongue // nil is English
	Title    string
	Lead     string
	Practice bool // it says so on every page
	Shared   bool
	Sections []Section
	Removed  []string // what was taken out for sharing, a line each
}

// Section is one part of a document.
type Section struct {
	Title string
	Parts []Part
}

// Part is a paragraph, or a table when it has a head.
type Part struct {
	Text string
	Head []string
	Rows [][]string
	Mono []int // columns that hold bytes, codes or identifiers
}

func (s *Section) say(text string) {
	if text != "" {
		s.Parts = append(s.Parts, Part{Text: text})
	}
}

// each calls do with every text of the document that holds data, and puts back what it returns.
func (d *Document) each(do func(string) string) {
	d.Title, d.Lead = do(d.Title), do(d.Lead)
	for i := range d.Sections {
		for j := range d.Sections[i].Parts {
			p := &d.Sections[i].Parts[j]
			p.Text = do(p.Text)
			for _, row := range p.Rows {
				for k := range row {
					row[k] = do(row[k])
				}
			}
		}
	}
}

// clone copies the document, so that a change of the copy does not reach the original.
func (d Document) clone() Document {
	sections := make([]Section, len(d.Sections))
	for i, s := range d.Sections {
		parts := make([]Part, len(s.Parts))
		for j, p := range s.Parts {
			rows := make([][]string, len(p.Rows))
			for k, r := range p.Rows {
				rows[k] = append([]string{}, r...)
			}
			p.Rows = rows
			parts[j] = p
		}
		sections[i] = Section{Title: s.Title, Parts: parts}
	}
	d.Sections = sections
	return d
}

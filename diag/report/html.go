package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
)

//go:embed page.html
var page string

// pageTemplate escapes whatever stands in a document.
var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"in":   func(d Document) string { return spoken(d.Language).Tag() },
	"tell": func(d Document, english string) string { return spoken(d.Language).Tell(english) },
	"mono": func(p Part, column int) bool { return slices.Contains(p.Mono, column) },
	"named": func(p Part) bool {
		return slices.ContainsFunc(p.Head, func(s string) bool { return s != "" })
	},
}).Parse(page))

// HTML writes the document as one file: no script, nothing fetched from elsewhere.
func HTML(w io.Writer, d Document) error {
	if err := pageTemplate.Execute(w, d); err != nil {
		return fmt.Errorf("report: writing HTML: %w", err)
	}
	return nil
}

package assets

import (
	_ "embed"
	"strings"
)

// Written by `go run ./cmd/dev licences` from go.mod and the modules themselves.
//
//go:embed licences.txt
var licences string

// Licence is what stands in one module or work that is part of Readback's programs.
type Licence struct {
	Name    string // a module's path, or what the work is called
	Version string // empty where there is none
	Kind    string // an SPDX licence expression, such as "BSD-3-Clause AND MIT"
	Text    string // the whole text, word for word
}

// licenceMark begins the line in front of each text; Name, Version and Kind follow, each behind a tab.
const licenceMark = "@@\t"

// Licences are those of everything from others that any of the programs holds, on any system, ordered by name.
func Licences() []Licence {
	var out []Licence
	for _, part := range strings.Split("\n"+licences, "\n"+licenceMark)[1:] {
		head, text, _ := strings.Cut(part, "\n")
		words := strings.SplitN(head, "\t", 3)
		for len(words) < 3 {
			words = append(words, "")
		}
		out = append(out, Licence{Name: words[0], Version: words[1], Kind: words[2], Text: strings.TrimSpace(text)})
	}
	return out
}

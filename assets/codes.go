package assets

import _ "embed"

// The table of trouble codes, this project's own: parts, what can be wrong with them, and areas of the car. Each file
// says in its head what its columns are and what it rests on.
//
//go:embed codes.tsv
var codes string

//go:embed codes_kinds.tsv
var codeKinds string

//go:embed codes_areas.tsv
var codeAreas string

// Codes is the table of parts: first code, kinds, part, place, area, doubt.
func Codes() string { return codes }

// CodeKinds is the table of what can be wrong: kind, meaning, advice, whether erasing helps.
func CodeKinds() string { return codeKinds }

// CodeAreas is the table of areas: area, words, level when remembered, level when there now, why.
func CodeAreas() string { return codeAreas }

package assets

import "embed"

// Lessons holds the lessons for learning to read a frame, one JSON document a lesson in the order of their names:
// lessons/NAME.json. readback/diag/lesson reads them; see its Lesson for the fields. Every answer of a car in them is one
// that a practice car gives.
//
//go:embed lessons/*.json
var Lessons embed.FS

package app

import (
	"sync/atomic"

	"readback/diag"
	"readback/diag/dtc"
	"readback/diag/tongue"
)

// inTongue is the language of the window as the engine's sentences have it; nil is English.
var inTongue atomic.Pointer[tongue.Tongue]

func spokenTongue() *tongue.Tongue {
	if t := inTongue.Load(); t != nil {
		return t
	}
	return tongue.InEnglish()
}

// tongueOf is a language of the catalogue as the engine's sentences have it: English where it has none of them.
func tongueOf(tag string) *tongue.Tongue {
	if t, err := tongue.Of(tag); err == nil {
		return t
	}
	return tongue.InEnglish()
}

// told is what the engine says, in the language of the window; the engine's own words where it has no others for them.
func told(english string) string { return spokenTongue().Tell(english) }

// lineOf says a trouble code in one sentence, in the language of the window.
func lineOf(c dtc.Code) string { return spokenTongue().Line(c) }

// named is the name of a module or a value.
func named(name string) string { return told(name) }

// errorText is the sentence for an error.
func errorText(err error) string { return told(diag.Sentence(err)) }

// allTold are several sentences of the engine.
func allTold(english []string) []string {
	out := make([]string, len(english))
	for i, s := range english {
		out[i] = told(s)
	}
	return out
}

// measured is a value with its unit, or a word in its place.
func measured(value string) string { return spokenTongue().Measured(value) }

// figures gives the numbers in a text of figures and units, such as "60.4 Ω", the decimal mark of the language.
func figures(s string) string { return spokenTongue().Figures(s) }

// listed joins names: "a, b and c".
func listed(names []string) string { return spokenTongue().Listed(names) }

// commas joins names that are not all there are.
func commas(names []string) string { return spokenTongue().Commas(names) }

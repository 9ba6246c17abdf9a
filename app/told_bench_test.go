package app

import "testing"

// BenchmarkTell is what a page asks for when it is drawn for the first time: a sentence of several parts, one with a name
// in it, and one that the book does not know.
func BenchmarkTell(b *testing.B) {
	all := tongues(b)
	p := all["de"]
	for name, s := range map[string]string{
		"sentences": "The Charging module only. It answers at 7ED. Other modules ignore this.",
		"name":      "Ask the Motor module to forget every stored trouble code. It holds 3 codes. One of them is there now and will come back.",
		"values":    "The Motor module: Motor speed (number 0C); 800 1/min; Coolant temperature (number 05); 83 °C; Vehicle speed (number 0D); 0 km/h.",
		"unknown":   "Nobody has written this sentence, and it has commas, colons: and more. It holds 3 codes, and it goes on, and on (for long).",
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				p.Find(s)
			}
		})
	}
}

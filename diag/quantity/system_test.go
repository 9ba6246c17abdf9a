package quantity

import (
	"math"
	"testing"
)

// TestChoice: values from NIST Special Publication 811 (2008), appendix B.8 (mile, psi, degree Fahrenheit) and 5.2 (bar);
// the boiling and freezing points of water are common practice.
func TestChoice(t *testing.T) {
	far := Choice{Way: Mile, Temperature: Fahrenheit, Pressure: PoundPerSqIn}
	for _, c := range []struct {
		in     Quantity
		choice Choice
		want   string
	}{
		{Quantity{1.609344, Km, 3}, far, "1.000 mi"}, {Quantity{160934.4, Km, 0}, far, "100000 mi"},
		{Quantity{100, KmPerHour, 0}, far, "62 mph"}, {Quantity{0, KmPerHour, 0}, far, "0 mph"},
		{Quantity{100, Celsius, 0}, far, "212 °F"}, {Quantity{0, Celsius, 0}, far, "32 °F"}, {Quantity{-40, Celsius, 1}, far, "-40.0 °F"},
		{Quantity{101.325, Kilopascal, 1}, far, "14.70 psi"}, {Quantity{101.3, Kilopascal, 1}, Choice{Pressure: Bar}, "1.013 bar"},
		{Quantity{250, Kilopascal, 0}, Choice{Pressure: Bar}, "2.50 bar"}, {Quantity{100000, Pascal, 0}, Choice{Pressure: Bar}, "1.00000 bar"},
		{Quantity{12.7, Volt, 1}, far, "12.7 V"}, {Quantity{90, Degree, 0}, far, "90 °"},
		{Quantity{80, Celsius, 0}, Choice{}, "80 °C"}, {Quantity{80, KmPerHour, 0}, Choice{Way: Km}, "80 km/h"}, {Quantity{5, Kilopascal, 0}, Choice{Pressure: Kilopascal}, "5 kPa"},
		{Quantity{80, Celsius, 0}, Choice{Temperature: Mile}, "80 °C"}, {Quantity{math.NaN(), Km, 0}, far, "?"},
	} {
		if got := c.choice.Of(c.in).String(); got != c.want {
			t.Errorf("%v with %+v: %q, want %q", c.in, c.choice, got, c.want)
		}
	}
}

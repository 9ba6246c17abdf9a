package quantity_test

import (
	"math"
	"testing"

	"readback/diag/quantity"
)

func TestString(t *testing.T) {
	for _, c := range []struct {
		q    quantity.Quantity
		want string
	}{
		{quantity.Quantity{Value: 12.7, Unit: quantity.Volt, Digits: 1}, "12.7 V"},
		{quantity.Quantity{Value: 12.65, Unit: quantity.Volt, Digits: 2}, "12.65 V"},
		{quantity.Quantity{Value: -40, Unit: quantity.Celsius}, "-40 °C"},
		{quantity.Quantity{Value: -0.04, Unit: quantity.Percent, Digits: 1}, "0.0 %"},
		{quantity.Quantity{Value: 3}, "3"},
		{quantity.Quantity{Value: 1.5, Digits: -1}, "2"},
		{quantity.Quantity{Value: math.NaN(), Unit: quantity.Volt}, "?"},
		{quantity.Quantity{Value: math.Inf(1), Unit: quantity.Volt}, "?"},
	} {
		if got := c.q.String(); got != c.want {
			t.Errorf("%+v reads %q, want %q", c.q, got, c.want)
		}
	}
}

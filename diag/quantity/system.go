package quantity

// Units of other systems, for showing.
const (
	Mile         Unit = "mi"
	MilesPerHour Unit = "mph"
	Fahrenheit   Unit = "°F"
	Bar          Unit = "bar"
	PoundPerSqIn Unit = "psi"
)

// Choice says in which units lengths of way, temperatures and pressures are shown; "" leaves them as they come.
type Choice struct {
	Way         Unit `json:"way,omitempty"`         // Km or Mile; speeds go with it
	Temperature Unit `json:"temperature,omitempty"` // Celsius or Fahrenheit
	Pressure    Unit `json:"pressure,omitempty"`    // Kilopascal, Bar or PoundPerSqIn
}

// Ways, Temperatures and Pressures are the units that can be chosen, the one that the standards use first.
var (
	Ways         = []Unit{Km, Mile}
	Temperatures = []Unit{Celsius, Fahrenheit}
	Pressures    = []Unit{Kilopascal, Bar, PoundPerSqIn}
)

// change is how one unit becomes another: value times factor, plus offset, with more or fewer digits after the point.
type change struct {
	factor, offset float64
	digits         int
}

// changes are exact where the units are: the mile is 1.609344 km and the pound per square inch 6.894757293168 kPa (NIST
// SP 811, appendix B.8), the bar is 100 kPa, 0 °C is 32 °F and a degree is 1.8 of the others.
var changes = map[[2]Unit]change{
	{Km, Mile}:                 {1 / 1.609344, 0, 0},
	{KmPerHour, MilesPerHour}:  {1 / 1.609344, 0, 0},
	{Celsius, Fahrenheit}:      {1.8, 32, 0},
	{Kilopascal, Bar}:          {0.01, 0, 2},
	{Kilopascal, PoundPerSqIn}: {1 / 6.894757293168, 0, 1},
	{Pascal, Bar}:              {0.00001, 0, 5},
	{Pascal, PoundPerSqIn}:     {1 / 6894.757293168, 0, 4},
}

// Of is a quantity in the units of the choice. What has no other unit there is returned as it is.
func (c Choice) Of(q Quantity) Quantity {
	want := q.Unit
	switch q.Unit {
	case Km:
		want = c.Way
	case KmPerHour:
		if c.Way == Mile {
			want = MilesPerHour
		}
	case Celsius:
		want = c.Temperature
	case Kilopascal, Pascal:
		want = c.Pressure
	}
	x, ok := changes[[2]Unit{q.Unit, want}]
	if !ok {
		return q
	}
	return Quantity{Value: q.Value*x.factor + x.offset, Unit: want, Digits: q.Digits + x.digits}
}

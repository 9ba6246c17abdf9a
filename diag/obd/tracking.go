package obd

// Tracking tells how often the self-tests have run in use (service 09, 08 for spark and 0B for compression ignition): the
// law wants them often enough.
type Tracking struct {
	Conditions int // trips that fulfil the general conditions
	Starts     int // starts of the engine
	Tests      []Tracked
	Rest       []byte // what is longer than the standard tells
}

// Tracked is one self-test in use, SAE J1979 annex G.
type Tracked struct {
	Key         string // stable: "catalyst1"
	Name        string // in plain words
	Completed   int    // times it could have found a fault
	Encountered int    // trips on which it should have run
}

// Ratio is how often it ran of the times it should have; ok is false when it never should have. It may be above 1.
func (t Tracked) Ratio() (ratio float64, ok bool) {
	if t.Encountered == 0 {
		return 0, false
	}
	return float64(t.Completed) / float64(t.Encountered), true
}

// The order of the pairs is the same in a public listing of the tables of SAE J1979-DA and in two open decoders. Modules of
// the earliest edition end after evap or boost, later ones go on.
var (
	sparkTracks = []monitorName{
		{"catalyst1", "catalyst, bank 1"}, {"catalyst2", "catalyst, bank 2"}, {"o2front1", "oxygen sensor before the catalyst, bank 1"},
		{"o2front2", "oxygen sensor before the catalyst, bank 2"}, {"egr", "exhaust gas recirculation or valve timing"}, {"secondaryair", "secondary air"},
		{"evap", "tank venting"}, {"o2rear1", "oxygen sensor behind the catalyst, bank 1"}, {"o2rear2", "oxygen sensor behind the catalyst, bank 2"},
		{"balance1", "air to fuel by cylinder, bank 1"}, {"balance2", "air to fuel by cylinder, bank 2"},
		{"filter1", "particle filter, bank 1"}, {"filter2", "particle filter, bank 2"},
	}
	compressionTracks = []monitorName{
		{"nmhc", "hydrocarbon catalyst"}, {"nox", "nitrogen oxide catalyst"}, {"noxtrap", "nitrogen oxide trap"}, {"filter", "particle filter"},
		{"exhaustsensor", "exhaust gas sensor"}, {"egr", "exhaust gas recirculation or valve timing"}, {"boost", "boost pressure"}, {"fuel", "fuel system"},
	}
)

// DecodeTracking reads 49 08 or 49 0B on CAN: the number of values, two bytes each.
func DecodeTracking(a []byte) (Tracking, error) {
	const op = "self-tests in use"
	b, err := counted(op, a, 2)
	if err != nil {
		return Tracking{}, err
	}
	if a[1] != infoSpark && a[1] != infoCompression {
		return Tracking{}, &ShapeError{op, a, "this is another type"}
	}
	return decodeTracking(a[1], b), nil
}

// decodeTracking reads values of two bytes; b has an even length.
func decodeTracking(kind byte, b []byte) Tracking {
	tracks := sparkTracks
	if kind == infoCompression {
		tracks = compressionTracks
	}
	take := func() int {
		if len(b) < 2 {
			return 0
		}
		v := int(b[0])<<8 | int(b[1])
		b = b[2:]
		return v
	}
	t := Tracking{Conditions: take(), Starts: take(), Tests: []Tracked{}}
	for _, n := range tracks {
		if len(b) < 4 {
			break
		}
		t.Tests = append(t.Tests, Tracked{n.key, n.name, take(), take()})
	}
	t.Rest = b
	return t
}

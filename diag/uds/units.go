package uds

// unit is a unit, a prefix of one, or a form of date and time.
type unit struct {
	name   string
	symbol string
	prefix bool
	form   bool // of a date or a time
}

// units are the units, prefixes and forms of ISO 14229-1:2020 annex C.6; 15 is told by its quantity.
var units = map[byte]unit{
	0x00: {name: "no unit, no prefix"},
	0x01: {name: "meter", symbol: "m"}, 0x02: {name: "foot", symbol: "ft"}, 0x03: {name: "inch", symbol: "in"}, 0x04: {name: "yard", symbol: "yd"},
	0x05: {name: "mile (English)", symbol: "mi"}, 0x06: {name: "gram", symbol: "g"}, 0x07: {name: "ton (metric)", symbol: "t"},
	0x08: {name: "second", symbol: "s"}, 0x09: {name: "minute", symbol: "min"}, 0x0A: {name: "hour", symbol: "h"}, 0x0B: {name: "day", symbol: "d"},
	0x0C: {name: "year", symbol: "y"}, 0x0D: {name: "ampere", symbol: "A"}, 0x0E: {name: "volt", symbol: "V"}, 0x0F: {name: "coulomb", symbol: "C"},
	0x10: {name: "ohm", symbol: "Ω"}, 0x11: {name: "farad", symbol: "F"}, 0x12: {name: "henry", symbol: "H"}, 0x13: {name: "siemens", symbol: "S"},
	0x14: {name: "weber", symbol: "Wb"}, 0x15: {name: "magnetic flux density", symbol: "T"}, 0x16: {name: "kelvin", symbol: "K"}, 0x17: {name: "Celsius", symbol: "°C"},
	0x18: {name: "Fahrenheit", symbol: "°F"}, 0x19: {name: "candela", symbol: "cd"}, 0x1A: {name: "radian", symbol: "rad"}, 0x1B: {name: "degree", symbol: "°"},
	0x1C: {name: "hertz", symbol: "Hz"}, 0x1D: {name: "joule", symbol: "J"}, 0x1E: {name: "newton", symbol: "N"}, 0x1F: {name: "kilopond", symbol: "kp"},
	0x20: {name: "pound force", symbol: "lbf"}, 0x21: {name: "watt", symbol: "W"}, 0x22: {name: "horse power (metric)", symbol: "hk"},
	0x23: {name: "horse power (UK and US)", symbol: "hp"}, 0x24: {name: "pascal", symbol: "Pa"}, 0x25: {name: "bar", symbol: "bar"},
	0x26: {name: "atmosphere", symbol: "atm"}, 0x27: {name: "pound force per square inch", symbol: "psi"}, 0x28: {name: "becquerel", symbol: "Bq"},
	0x29: {name: "lumen", symbol: "lm"}, 0x2A: {name: "lux", symbol: "lx"}, 0x2B: {name: "litre", symbol: "l"}, 0x2C: {name: "gallon (British)", symbol: "gal (British)"},
	0x2D: {name: "gallon (US liq)", symbol: "gal (US)"}, 0x2E: {name: "cubic inch", symbol: "cu in"}, 0x2F: {name: "meter per second", symbol: "m/s"},
	0x30: {name: "kilometer per hour", symbol: "km/h"}, 0x31: {name: "mile per hour", symbol: "mph"}, 0x32: {name: "revolutions per second", symbol: "1/s"},
	0x33: {name: "revolutions per minute", symbol: "1/min"}, 0x34: {name: "counts", symbol: "counts"}, 0x35: {name: "percent", symbol: "%"},
	0x36: {name: "milligram per stroke", symbol: "mg/stroke"}, 0x37: {name: "meter per square second", symbol: "m/s²"},
	0x38: {name: "newton meter", symbol: "Nm"}, 0x39: {name: "litre per minute", symbol: "l/min"}, 0x3A: {name: "watt per square meter", symbol: "W/m²"},
	0x3B: {name: "bar per second", symbol: "bar/s"}, 0x3C: {name: "radians per second", symbol: "rad/s"},
	0x3D: {name: "radians per square second", symbol: "rad/s²"}, 0x3E: {name: "kilogram per square meter", symbol: "kg/m²"},
	0x40: {name: "exa", symbol: "E", prefix: true}, 0x41: {name: "peta", symbol: "P", prefix: true}, 0x42: {name: "tera", symbol: "T", prefix: true}, 0x43: {name: "giga", symbol: "G", prefix: true},
	0x44: {name: "mega", symbol: "M", prefix: true}, 0x45: {name: "kilo", symbol: "k", prefix: true}, 0x46: {name: "hecto", symbol: "h", prefix: true}, 0x47: {name: "deca", symbol: "da", prefix: true},
	0x48: {name: "deci", symbol: "d", prefix: true}, 0x49: {name: "centi", symbol: "c", prefix: true}, 0x4A: {name: "milli", symbol: "m", prefix: true}, 0x4B: {name: "micro", symbol: "µ", prefix: true},
	0x4C: {name: "nano", symbol: "n", prefix: true}, 0x4D: {name: "pico", symbol: "p", prefix: true}, 0x4E: {name: "femto", symbol: "f", prefix: true}, 0x4F: {name: "atto", symbol: "a", prefix: true},
	0x50: {name: "year/month/day", form: true}, 0x51: {name: "day/month/year", form: true}, 0x52: {name: "month/day/year", form: true},
	0x53: {name: "week", form: true}, 0x54: {name: "UTC hour/minute/second", form: true}, 0x55: {name: "hour/minute/second", form: true},
	0x56: {name: "second/minute/hour/day/month/year", form: true},
	0x57: {name: "second/minute/hour/day/month/year/local minute offset/local hour offset", form: true},
	0x58: {name: "second/minute/hour/month/day/year", form: true},
	0x59: {name: "second/minute/hour/month/day/year/local minute offset/local hour offset", form: true},
}

// Unit is the name and the symbol of the unit, the prefix or the form that a scaling byte of type A tells; ok is false
// for every other type and for what the standard does not list.
func (s Scaling) Unit() (name, symbol string, ok bool) {
	u, ok := unitOf(s)
	return u.name, u.symbol, ok
}

func unitOf(s Scaling) (unit, bool) {
	if s.Type != ScalingUnit || len(s.Extension) != 1 {
		return unit{}, false
	}
	u, ok := units[s.Extension[0]]
	return u, ok
}

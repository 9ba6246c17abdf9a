package obd

import (
	"fmt"
	"slices"
	"strings"

	"readback/diag/dtc"
)

// secondaryAir are the states of parameter 12; one bit is set.
var secondaryAir = map[byte]string{
	1: "before the catalyst", 2: "after the first catalyst", 4: "from outside, or off", 8: "pump on for a test",
}

// fuelSystem are the states of parameter 03; one bit is set, 0 where there is no second system.
var fuelSystem = map[byte]string{
	0: "not told", 1: "not regulated, engine cold", 2: "regulated by the oxygen sensor", 4: "not regulated, because of load or coasting",
	8: "not regulated, because of a fault", 16: "regulated, but a sensor is faulty",
}

// builtTo are the values of parameter 1C; the names are those of the regulations.
var builtTo = map[byte]string{
	1: "OBD II (California)", 2: "OBD (US federal)", 3: "OBD and OBD II", 4: "OBD I", 5: "no such standard", 6: "EOBD",
	7: "EOBD and OBD II", 8: "EOBD and OBD", 9: "EOBD, OBD and OBD II", 10: "JOBD", 11: "JOBD and OBD II", 12: "JOBD and EOBD",
	13: "JOBD, EOBD and OBD II", 17: "EMD", 18: "EMD+", 19: "HD OBD-C", 20: "HD OBD", 21: "WWH OBD", 23: "HD EOBD-I",
	24: "HD EOBD-I N", 25: "HD EOBD-II", 26: "HD EOBD-II N", 28: "OBDBr-1", 29: "OBDBr-2", 30: "KOBD", 31: "IOBD I", 32: "IOBD II",
	33: "HD EOBD-VI",
}

// fuels are the values of parameter 51.
var fuels = map[byte]string{
	0: "not available", 1: "petrol", 2: "methanol", 3: "ethanol", 4: "diesel", 5: "liquefied petroleum gas", 6: "compressed natural gas",
	7: "propane", 8: "electric", 9: "two fuels, on petrol", 10: "two fuels, on methanol", 11: "two fuels, on ethanol",
	12: "two fuels, on liquefied petroleum gas", 13: "two fuels, on compressed natural gas", 14: "two fuels, on propane", 15: "two fuels, on electricity",
	16: "two fuels, electric and combustion", 17: "hybrid with petrol", 18: "hybrid with ethanol", 19: "hybrid with diesel",
	20: "hybrid, electric", 21: "hybrid, electric and combustion", 22: "hybrid, regenerating", 23: "two fuels, on diesel",
}

// emissionRules are the values of parameter 5F; the names are those of the rules.
var emissionRules = map[byte]string{0x0E: "heavy vehicles, EURO IV B1", 0x0F: "heavy vehicles, EURO V B2", 0x10: "heavy vehicles, EURO EEV C"}

func readFuelSystems(_ byte, b []byte) []Reading {
	return []Reading{
		{Label: "system 1", Text: stateText(fuelSystem, b[0])},
		{Label: "system 2", Text: stateText(fuelSystem, b[1])},
	}
}

func readFrozenCode(_ byte, b []byte) []Reading {
	if b[0] == 0 && b[1] == 0 {
		return []Reading{{Text: "no values are frozen"}}
	}
	return []Reading{{Text: dtc.From2(b[0], b[1]).Name()}}
}

// readSensors names the oxygen sensors of parameters 13 and 1D: bit 0 is bank 1 sensor 1.
func readSensors(banks, each int) func(byte, []byte) []Reading {
	return func(_ byte, b []byte) []Reading {
		out := make([]Reading, banks)
		for bank := range banks {
			var fitted []string
			for s := range each {
				if b[0]>>(bank*each+s)&1 != 0 {
					fitted = append(fitted, fmt.Sprint(s+1))
				}
			}
			text := "none"
			if len(fitted) > 0 {
				text = strings.Join(fitted, " ")
			}
			out[bank] = Reading{Label: fmt.Sprintf("bank %d", bank+1), Text: text}
		}
		return out
	}
}

func readTakeOff(_ byte, b []byte) []Reading {
	if b[0]&1 != 0 {
		return []Reading{{Text: "on"}}
	}
	return []Reading{{Text: "off"}}
}

// readNarrowSensor reads parameters 14-1B: voltage, and a fuel trim unless it is FF.
func readNarrowSensor(_ byte, b []byte) []Reading {
	out := []Reading{narrowVolts.of(b)}
	if b[1] != 0xFF {
		out = append(out, narrowTrim.of(b))
	}
	return out
}

func readOffered(id byte, b []byte) []Reading {
	var names []string
	for p := range offeredBits(id, b) {
		names = append(names, fmt.Sprintf("%02X", p))
	}
	slices.Sort(names)
	if len(names) == 0 {
		return []Reading{{Text: "none"}}
	}
	return []Reading{{Text: strings.Join(names, " ")}}
}

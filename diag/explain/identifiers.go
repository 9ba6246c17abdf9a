package explain

import "fmt"

// plates are the identification numbers F180 to F19F, ISO 14229-1:2020 annex C.1.
var plates = map[uint16]string{
	0xF180: "boot software", 0xF181: "application software", 0xF182: "application data",
	0xF183: "fingerprint of the boot software", 0xF184: "fingerprint of the application software", 0xF185: "fingerprint of the application data",
	0xF186: "mode of the conversation now", 0xF187: "spare part number", 0xF188: "maker's software number",
	0xF189: "maker's software version", 0xF18A: "supplier", 0xF18B: "date of manufacture of the module", 0xF18C: "serial number of the module",
	0xF18D: "supported units", 0xF18E: "kit assembly part number", 0xF18F: "software identification by regulation",
	0xF190: "vehicle identification number (VIN)", 0xF191: "maker's hardware number", 0xF192: "supplier's hardware number",
	0xF193: "supplier's hardware version", 0xF194: "supplier's software number", 0xF195: "supplier's software version",
	0xF196: "type approval number", 0xF197: "system name", 0xF198: "workshop or tester number",
	0xF199: "date of programming", 0xF19A: "calibration workshop", 0xF19B: "date of calibration",
	0xF19C: "calibration software", 0xF19D: "date of installation of the module", 0xF19E: "description file",
	0xF19F: "entity",
	0xFA10: "number of crash recorders", 0xFA11: "crash recorder", 0xFA12: "addresses of crash recorders",
	0xFF00: "edition of the standard", 0xFF01: "reserved for ISO 15765-5",
}

// listed tells whether an identifier of service 22 may be read without a permit: name plates, and the parameters,
// monitors and information types of OBD on UDS (ISO 14229-1 annex C, SAE J1979-2).
func listed(id uint16) bool {
	switch id >> 8 {
	case 0xF4, 0xF6, 0xF8:
		return true
	}
	return id >= 0xF180 && id <= 0xF19F
}

func didName(id uint16) string {
	if n := plates[id]; n != "" {
		return n
	}
	switch id >> 8 {
	case 0xF4:
		if n := pids[byte(id)].name; n != "" {
			return n
		}
		return fmt.Sprintf("OBD parameter %02X", byte(id))
	case 0xF5:
		return fmt.Sprintf("OBD parameter %02X of the second list", byte(id))
	case 0xF6, 0xF7:
		return fmt.Sprintf("OBD monitor %02X", byte(id))
	case 0xF8:
		return fmt.Sprintf("OBD vehicle information %02X", byte(id))
	}
	return ""
}

func didText(id uint16) string {
	if n := didName(id); n != "" {
		return fmt.Sprintf("%s (number %04X).", upperFirst(n), id)
	}
	return fmt.Sprintf("The maker's own number %04X. Its meaning is not known here.", id)
}

// pid is one OBD parameter that this program shows as a value; the rest stay raw.
type pid struct {
	name string
	text func(d []byte) string // d has at least n bytes
	n    int
}

// pids: SAE J1979-DA, scaling as in the open copies of its table B.
var pids = map[byte]pid{
	0x00: {"parameters offered, 01 to 20", nil, 4},
	0x20: {"parameters offered, 21 to 40", nil, 4},
	0x40: {"parameters offered, 41 to 60", nil, 4},
	0x60: {"parameters offered, 61 to 80", nil, 4},
	0x80: {"parameters offered, 81 to A0", nil, 4},
	0xA0: {"parameters offered, A1 to C0", nil, 4},
	0x01: {"warning lamp and number of codes", func(d []byte) string {
		lamp := "the lamp is off"
		if d[0]&0x80 != 0 {
			lamp = "the lamp is on"
		}
		return count(int(d[0]&0x7F), "code", "codes") + ", " + lamp
	}, 4},
	0x02: {"code that the kept values belong to", func(d []byte) string { return codeName(d[:2]) }, 2},
	0x04: {"load", percent, 1},
	0x05: {"coolant temperature", celsius, 1},
	0x0B: {"intake pressure", func(d []byte) string { return fmt.Sprintf("%d kPa", d[0]) }, 1},
	0x0C: {"motor speed", func(d []byte) string { return trim(float64(be16(d))/4) + " rpm" }, 2},
	0x0D: {"speed", func(d []byte) string { return fmt.Sprintf("%d km/h", d[0]) }, 1},
	0x0F: {"intake temperature", celsius, 1},
	0x10: {"air flow", func(d []byte) string { return trim(float64(be16(d))/100) + " g/s" }, 2},
	0x11: {"throttle", percent, 1},
	0x1C: {"rules the car was built to", nil, 1},
	0x1F: {"time since the start", func(d []byte) string { return fmt.Sprintf("%d s", be16(d)) }, 2},
	0x21: {"distance with the lamp on", kilometres, 2},
	0x2F: {"fuel level", percent, 1},
	0x30: {"warm-ups since the clear", func(d []byte) string { return fmt.Sprint(d[0]) }, 1},
	0x31: {"distance since the clear", kilometres, 2},
	0x33: {"air pressure", func(d []byte) string { return fmt.Sprintf("%d kPa", d[0]) }, 1},
	0x42: {"supply of the module", func(d []byte) string { return trim(float64(be16(d))/1000) + " V" }, 2},
	0x46: {"outside temperature", celsius, 1},
	0x4D: {"time with the lamp on", minutes, 2},
	0x4E: {"time since the clear", minutes, 2},
	0x5B: {"charge of the high-voltage battery", percent, 1},
}

func percent(d []byte) string    { return trim(float64(int(d[0])*1000/255)/10) + " %" }
func celsius(d []byte) string    { return fmt.Sprintf("%d °C", int(d[0])-40) }
func kilometres(d []byte) string { return fmt.Sprintf("%d km", be16(d)) }
func minutes(d []byte) string    { return fmt.Sprintf("%d min", be16(d)) }

func pidText(b byte) string {
	if n := pids[b].name; n != "" {
		return fmt.Sprintf("%s (number %02X).", upperFirst(n), b)
	}
	return fmt.Sprintf("Value number %02X.", b)
}

// infoTypes: SAE J1979 service 09.
var infoTypes = map[byte]string{0x00: "what it can tell", 0x01: "number of parts of the VIN", 0x02: "vehicle identification number (VIN)",
	0x03: "number of calibrations", 0x04: "calibration names", 0x05: "number of calibration checksums", 0x06: "calibration checksums",
	0x08: "how often tests ran", 0x0A: "name of the module", 0x0B: "how often tests ran, diesel", 0x0D: "serial number of the engine"}

func infoText(b byte) string {
	if n := infoTypes[b]; n != "" {
		return fmt.Sprintf("%s (number %02X).", upperFirst(n), b)
	}
	return numberText("information", b)
}

func numberText(what string, b byte) string {
	if b&0x1F == 0 {
		return fmt.Sprintf("Which %s numbers it has from %02X on.", what, b)
	}
	return fmt.Sprintf("Number %02X of its %s list.", b, what)
}

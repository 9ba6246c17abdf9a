package explain

import (
	"fmt"

	"readback/diag/obd"
	"readback/diag/uds"
)

// otherNames are identifiers of ISO 14229-1:2020 annex C.1 that are no name plates.
var otherNames = map[uint16]string{
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

// didName is what an identifier of service 22 names; "" where only the maker knows. The ranges are those of annex C.1.
func didName(id uint16) string {
	if _, text, ok := uds.PlateName(id); ok {
		return text
	}
	if n := otherNames[id]; n != "" {
		return n
	}
	if n, ok := obd.IdentifierName(id); ok {
		return n
	}
	b := byte(id)
	switch hi := id >> 8; {
	case hi == 0xF2:
		return fmt.Sprintf("value %02X of those that can be repeated", b)
	case hi == 0xF3:
		return fmt.Sprintf("list of values %02X, made by a tester", b)
	case hi == 0xF4 && b&0x1F != 0:
		return fmt.Sprintf("OBD parameter %02X", b)
	case hi == 0xF5:
		return fmt.Sprintf("OBD parameter %02X of the second list", b)
	case hi == 0xF6 && b&0x1F == 0:
		return fmt.Sprintf("OBD monitors there are, from %02X on", b)
	case hi == 0xF6, hi == 0xF7:
		return fmt.Sprintf("OBD monitor %02X", b)
	case hi == 0xF8:
		return fmt.Sprintf("OBD vehicle information %02X", b)
	case hi == 0xF9:
		return fmt.Sprintf("tachograph value %02X", b)
	case hi == 0xFA && b < 0x10:
		return fmt.Sprintf("airbag value %02X", b)
	}
	return ""
}

func didText(id uint16) string {
	if n := didName(id); n != "" {
		var room [96]byte
		b := append(appendUpper(room[:0], n), " (number "...)
		b = append(b, hexDigits[id>>12], hexDigits[id>>8&0xF], hexDigits[id>>4&0xF], hexDigits[id&0xF])
		return string(append(b, ")."...))
	}
	return fmt.Sprintf("The maker's own number %04X. Its meaning is not known here.", id)
}

// pids are the parameters of service 01 that instructions for owners ask for: those of the first three lists.
var pids = func() map[byte]string {
	out := map[byte]string{}
	for i := range 0x60 {
		if name, ok := obd.ParameterName(byte(i)); ok {
			out[byte(i)] = name
		}
	}
	return out
}()

func pidText(b byte) string {
	if n, ok := obd.ParameterName(b); ok {
		return fmt.Sprintf("%s (number %02X).", upperFirst(n), b)
	}
	return fmt.Sprintf("Value number %02X.", b)
}

// infoCounts are the information types that tell how many messages another one has on the older buses (SAE J1979).
var infoCounts = map[byte]string{0x00: "what it can tell", 0x01: "number of parts of the VIN", 0x03: "number of calibrations",
	0x05: "number of calibration checksums", 0x07: "number of parts of the self-tests in use", 0x09: "number of parts of its name"}

func infoText(b byte) string {
	n, ok := obd.InfoName(b)
	if !ok {
		n = infoCounts[b]
	}
	if n != "" {
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

// monitorText names a monitor of service 06.
func monitorText(b byte) string {
	if n, ok := obd.MonitorName(b); ok {
		return fmt.Sprintf("%s (monitor %02X).", upperFirst(n), b)
	}
	return numberText("monitor", b)
}

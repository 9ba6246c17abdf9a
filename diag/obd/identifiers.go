package obd

// SAE J1979-2 (OBDonUDS) and J1979-3 (ZEVonUDS) ask for the same things with the services of ISO 14229-1. The ranges of
// data identifiers are in ISO 14229-1 annex C (F400-F4FF and F500-F5FF data, F600-F6FF and F700-F7FF monitors, F800-F8FF
// information types). That the low byte is the number of service 01, 06 or 09 is from memory: no open worked example was
// found. F5xx and F7xx have numbers that the older standard does not know and are not described here. Codes are asked for by
// 19 42, 19 55 and 19 56 of the functional group 33 (ISO 14229-1 annex D.1), see the package uds.
const (
	dataIdentifiers    = 0xF400
	monitorIdentifiers = 0xF600
	infoIdentifiers    = 0xF800
)

// ParameterOfIdentifier is the parameter of service 01 that a data identifier of J1979-2 tells.
func ParameterOfIdentifier(identifier uint16) (parameter byte, ok bool) {
	return byte(identifier), identifier&0xFF00 == dataIdentifiers
}

// MonitorOfIdentifier is the monitor of service 06 whose results a data identifier of J1979-2 tells.
func MonitorOfIdentifier(identifier uint16) (monitor byte, ok bool) {
	return byte(identifier), identifier&0xFF00 == monitorIdentifiers
}

// InfoOfIdentifier is the information type of service 09 that a data identifier of J1979-2 tells.
func InfoOfIdentifier(identifier uint16) (kind byte, ok bool) {
	return byte(identifier), identifier&0xFF00 == infoIdentifiers
}

// IdentifierOfParameter, IdentifierOfMonitor and IdentifierOfInfo are the way back.
func IdentifierOfParameter(parameter byte) uint16 { return dataIdentifiers | uint16(parameter) }
func IdentifierOfMonitor(monitor byte) uint16     { return monitorIdentifiers | uint16(monitor) }
func IdentifierOfInfo(kind byte) uint16           { return infoIdentifiers | uint16(kind) }

// IdentifierName is what a data identifier of J1979-2 tells, in plain words; ok is false for one that is not described
// here.
func IdentifierName(identifier uint16) (name string, ok bool) {
	number := byte(identifier)
	switch identifier & 0xFF00 {
	case dataIdentifiers:
		return ParameterName(number)
	case monitorIdentifiers:
		return MonitorName(number)
	case infoIdentifiers:
		return InfoName(number)
	}
	return "", false
}

// Identified is the data record of one identifier of J1979-2. One of Parameter, Tests, Info and Offered is filled; none
// when the identifier is not of these ranges or its data did not fit.
type Identified struct {
	Identifier uint16
	Parameter  *Measured
	Tests      []SelfTest
	Info       *Info
	Offered    map[byte]bool // F400, F420 ... F600 ... F800: numbers of the same range
	Raw        []byte        // all of its data, always
}

// DecodeIdentifier reads the data record of one identifier, as it is behind 62 and the identifier (ISO 14229-1 clause 11.2).
func DecodeIdentifier(identifier uint16, data []byte) (Identified, error) {
	out := Identified{Identifier: identifier, Raw: data}
	number := byte(identifier)
	kind := identifier & 0xFF00
	known := kind == dataIdentifiers || kind == monitorIdentifiers || kind == infoIdentifiers
	switch {
	case !known:
		return out, nil
	case number%0x20 == 0 && len(data) == 4:
		out.Offered = offeredBits(number, data)
		return out, nil
	case number%0x20 == 0:
		return out, &ShapeError{"numbers offered", data, "the table has four bytes"}
	}
	switch kind {
	case dataIdentifiers:
		m, err := DecodeParameter(number, data)
		if err != nil {
			return out, err
		}
		out.Parameter = &m
	case monitorIdentifiers:
		tests, err := DecodeSelfTestData(number, data)
		if err != nil {
			return out, err
		}
		out.Tests = tests
	default:
		info, err := DecodeInfoData(number, data)
		if err != nil {
			return out, err
		}
		out.Info = &info
	}
	return out, nil
}

package uds

import (
	"fmt"
	"strings"

	"readback/diag/link"
)

// form is how the data of an identification number are usually written.
type form uint8

const (
	formText  form = iota // ASCII, ISO 14229-1 leaves it to the maker; shown as hex where it is none
	formDate              // three or four bytes of packed decimal digits, or text
	formHex               // numbers
	formParts             // how many, then that many of the same length
	formSession
)

type plate struct {
	name string // ISO 14229-1:2020 annex C.1
	text string // what it says, for people
	form form
}

// plates are the identification numbers F180-F19F of ISO 14229-1:2020 annex C.1.
var plates = map[uint16]plate{
	0xF180: {"bootSoftwareIdentificationDataIdentifier", "start-up software", formParts},
	0xF181: {"applicationSoftwareIdentificationDataIdentifier", "software", formParts},
	0xF182: {"applicationDataIdentificationDataIdentifier", "data set", formParts},
	0xF183: {"bootSoftwareFingerprintDataIdentifier", "who wrote the start-up software", formHex},
	0xF184: {"applicationSoftwareFingerprintDataIdentifier", "who wrote the software", formHex},
	0xF185: {"applicationDataFingerprintDataIdentifier", "who wrote the data set", formHex},
	0xF186: {"activeDiagnosticSessionDataIdentifier", "session that is open", formSession},
	0xF187: {"vehicleManufacturerSparePartNumberDataIdentifier", "part number", formText},
	0xF188: {"vehicleManufacturerECUSoftwareNumberDataIdentifier", "software number of the car's maker", formText},
	0xF189: {"vehicleManufacturerECUSoftwareVersionNumberDataIdentifier", "software version of the car's maker", formText},
	0xF18A: {"systemSupplierIdentifierDataIdentifier", "supplier", formText},
	0xF18B: {"ECUManufacturingDateDataIdentifier", "made on", formDate},
	0xF18C: {"ECUSerialNumberDataIdentifier", "serial number", formText},
	0xF18D: {"supportedFunctionalUnitsDataIdentifier", "functional units", formHex},
	0xF18E: {"vehicleManufacturerKitAssemblyPartNumberDataIdentifier", "part number of the assembly", formText},
	0xF18F: {"regulationXSoftwareIdentificationNumbers", "software numbers for type approval", formText},
	0xF190: {"VINDataIdentifier", "vehicle identification number", formText},
	0xF191: {"vehicleManufacturerECUHardwareNumberDataIdentifier", "hardware number of the car's maker", formText},
	0xF192: {"systemSupplierECUHardwareNumberDataIdentifier", "hardware number of the supplier", formText},
	0xF193: {"systemSupplierECUHardwareVersionNumberDataIdentifier", "hardware version of the supplier", formText},
	0xF194: {"systemSupplierECUSoftwareNumberDataIdentifier", "software number of the supplier", formText},
	0xF195: {"systemSupplierECUSoftwareVersionNumberDataIdentifier", "software version of the supplier", formText},
	0xF196: {"exhaustRegulationOrTypeApprovalNumberDataIdentifier", "type approval number", formText},
	0xF197: {"systemNameOrEngineTypeDataIdentifier", "name of the system", formText},
	0xF198: {"repairShopCodeOrTesterSerialNumberDataIdentifier", "who programmed it last", formText},
	0xF199: {"programmingDateDataIdentifier", "programmed on", formDate},
	0xF19A: {"calibrationRepairShopCodeOrCalibrationEquipmentSerialNumberDataIdentifier", "who calibrated it last", formText},
	0xF19B: {"calibrationDateDataIdentifier", "calibrated on", formDate},
	0xF19C: {"calibrationEquipmentSoftwareNumberDataIdentifier", "software of the calibration equipment", formText},
	0xF19D: {"ECUInstallationDateDataIdentifier", "fitted on", formDate},
	0xF19E: {"ODXFileDataIdentifier", "name of its description file", formText},
	0xF19F: {"entityDataIdentifier", "entity", formHex},
}

// PlateName is the standard's name of an identification number F180-F19F and what it says in a few words; ok is
// false for every other identifier.
func PlateName(id uint16) (name, text string, ok bool) {
	p, ok := plates[id]
	return p.name, p.text, ok
}

// PlateText is the data of an identification number as people read it: text where it is printable ASCII (filling
// at its ends taken off), a date where it can be one, several texts with commas between them, and upper-case hex
// otherwise.
func PlateText(id uint16, value []byte) string {
	switch p := plates[id]; {
	case p.form == formDate:
		if s, ok := packedDate(value); ok {
			return s
		}
	case p.form == formParts:
		if parts, ok := plateParts(value); ok {
			return strings.Join(parts, ", ")
		}
	case p.form == formSession && len(value) == 1:
		if name, ok := SessionName(value[0]); ok {
			return fmt.Sprintf("%X %s", value, name)
		}
	}
	if s, ok := printable(value); ok && (len(value) >= 4 || plates[id].form < formHex) {
		return s
	}
	return fmt.Sprintf("%X", value)
}

// plateParts cuts the numbers of several pieces of software: the first byte says how many, and they are of one length
// (the layout is the maker's; this one is common practice).
func plateParts(value []byte) (parts []string, ok bool) {
	if len(value) < 2 || value[0] == 0 || (len(value)-1)%int(value[0]) != 0 {
		return nil, false
	}
	n := (len(value) - 1) / int(value[0])
	for b := value[1:]; len(b) > 0; b = b[n:] {
		s, ok := printable(b[:n])
		if !ok {
			return nil, false
		}
		parts = append(parts, s)
	}
	return parts, true
}

// printable is value as text; ok is false when it holds anything else, or nothing but filling.
func printable(value []byte) (s string, ok bool) {
	s, ok = link.Text(value)
	return s, ok && (s != "" || len(value) == 0)
}

// packedDate reads YY MM DD or YYYY MM DD in packed decimal digits (common practice); two-digit years are of this century.
func packedDate(b []byte) (string, bool) {
	if len(b) != 3 && len(b) != 4 {
		return "", false
	}
	digits := fmt.Sprintf("%x", b)
	if strings.ContainsAny(digits, "abcdef") {
		return "", false
	}
	if len(b) == 3 {
		digits = "20" + digits
	}
	month, day := digits[4:6], digits[6:8]
	if digits[:4] < "1980" || month < "01" || month > "12" || day < "01" || day > "31" {
		return "", false
	}
	return digits[:4] + "-" + month + "-" + day, true
}

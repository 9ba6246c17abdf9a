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

const firstPlate = 0xF180

// plates are the identification numbers F180-F19F of ISO 14229-1:2020 annex C.1.
var plates = [...]plate{
	0xF180 - firstPlate: {"bootSoftwareIdentificationDataIdentifier", "start-up software", formParts},
	0xF181 - firstPlate: {"applicationSoftwareIdentificationDataIdentifier", "software", formParts},
	0xF182 - firstPlate: {"applicationDataIdentificationDataIdentifier", "data set", formParts},
	0xF183 - firstPlate: {"bootSoftwareFingerprintDataIdentifier", "who wrote the start-up software", formHex},
	0xF184 - firstPlate: {"applicationSoftwareFingerprintDataIdentifier", "who wrote the software", formHex},
	0xF185 - firstPlate: {"applicationDataFingerprintDataIdentifier", "who wrote the data set", formHex},
	0xF186 - firstPlate: {"activeDiagnosticSessionDataIdentifier", "session that is open", formSession},
	0xF187 - firstPlate: {"vehicleManufacturerSparePartNumberDataIdentifier", "part number", formText},
	0xF188 - firstPlate: {"vehicleManufacturerECUSoftwareNumberDataIdentifier", "software number of the car's maker", formText},
	0xF189 - firstPlate: {"vehicleManufacturerECUSoftwareVersionNumberDataIdentifier", "software version of the car's maker", formText},
	0xF18A - firstPlate: {"systemSupplierIdentifierDataIdentifier", "supplier", formText},
	0xF18B - firstPlate: {"ECUManufacturingDateDataIdentifier", "made on", formDate},
	0xF18C - firstPlate: {"ECUSerialNumberDataIdentifier", "serial number", formText},
	0xF18D - firstPlate: {"supportedFunctionalUnitsDataIdentifier", "functional units", formHex},
	0xF18E - firstPlate: {"vehicleManufacturerKitAssemblyPartNumberDataIdentifier", "part number of the assembly", formText},
	0xF18F - firstPlate: {"regulationXSoftwareIdentificationNumbers", "software numbers for type approval", formText},
	0xF190 - firstPlate: {"VINDataIdentifier", "vehicle identification number", formText},
	0xF191 - firstPlate: {"vehicleManufacturerECUHardwareNumberDataIdentifier", "hardware number of the car's maker", formText},
	0xF192 - firstPlate: {"systemSupplierECUHardwareNumberDataIdentifier", "hardware number of the supplier", formText},
	0xF193 - firstPlate: {"systemSupplierECUHardwareVersionNumberDataIdentifier", "hardware version of the supplier", formText},
	0xF194 - firstPlate: {"systemSupplierECUSoftwareNumberDataIdentifier", "software number of the supplier", formText},
	0xF195 - firstPlate: {"systemSupplierECUSoftwareVersionNumberDataIdentifier", "software version of the supplier", formText},
	0xF196 - firstPlate: {"exhaustRegulationOrTypeApprovalNumberDataIdentifier", "type approval number", formText},
	0xF197 - firstPlate: {"systemNameOrEngineTypeDataIdentifier", "name of the system", formText},
	0xF198 - firstPlate: {"repairShopCodeOrTesterSerialNumberDataIdentifier", "who programmed it last", formText},
	0xF199 - firstPlate: {"programmingDateDataIdentifier", "programmed on", formDate},
	0xF19A - firstPlate: {"calibrationRepairShopCodeOrCalibrationEquipmentSerialNumberDataIdentifier", "who calibrated it last", formText},
	0xF19B - firstPlate: {"calibrationDateDataIdentifier", "calibrated on", formDate},
	0xF19C - firstPlate: {"calibrationEquipmentSoftwareNumberDataIdentifier", "software of the calibration equipment", formText},
	0xF19D - firstPlate: {"ECUInstallationDateDataIdentifier", "fitted on", formDate},
	0xF19E - firstPlate: {"ODXFileDataIdentifier", "name of its description file", formText},
	0xF19F - firstPlate: {"entityDataIdentifier", "entity", formHex},
}

// PlateName is the standard's name of an identification number F180-F19F and what it says in a few words; ok is
// false for every other identifier.
func PlateName(id uint16) (name, text string, ok bool) {
	p := plateOf(id)
	return p.name, p.text, p.name != ""
}

// plateOf is the zero plate for an identifier that is none.
func plateOf(id uint16) plate {
	if id < firstPlate || id-firstPlate >= uint16(len(plates)) {
		return plate{}
	}
	return plates[id-firstPlate]
}

// PlateText is the data of an identification number as people read it: text where it is printable ASCII (filling
// at its ends taken off), a date where it can be one, several texts with commas between them, and upper-case hex
// otherwise.
func PlateText(id uint16, value []byte) string {
	if s, ok := PlateWords(id, value); ok {
		return s
	}
	return fmt.Sprintf("%X", value)
}

// PlateWords is [PlateText] where it is more than the bytes; ok is false otherwise.
func PlateWords(id uint16, value []byte) (s string, ok bool) {
	p := plateOf(id)
	switch {
	case p.form == formDate:
		if s, ok := packedDate(value); ok {
			return s, true
		}
	case p.form == formParts:
		if parts, ok := plateParts(value); ok {
			return strings.Join(parts, ", "), true
		}
	case p.form == formSession && len(value) == 1:
		if name, ok := SessionName(value[0]); ok {
			return fmt.Sprintf("%X %s", value, name), true
		}
	}
	if len(value) < 4 && p.form >= formHex {
		return "", false
	}
	return printable(value)
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

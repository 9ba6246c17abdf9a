package kwp

import (
	"context"
	"fmt"

	"readback/diag/link"
)

// Identification options of 1A.
const (
	PlateVIN   byte = 0x90
	firstPlate byte = 0x80
	lastPlate  byte = 0x9F
)

// plates are the identification options that the standard names, 80 to 9F (from memory of ISO 14230-3; those from 90 on
// became F190 and so on in ISO 14229-1). Makers have given other meanings to some of them; 82-8F, 9E and 9F are theirs.
var plates = map[byte]struct{ name, text string }{
	0x80: {"ECUIdentificationDataTable", "all that it tells about itself"},
	0x81: {"ECUIdentificationScalingTable", "how that is to be read"},
	0x90: {"vehicleIdentificationNumber", "vehicle identification number"},
	0x91: {"vehicleManufacturerECUHardwareNumber", "hardware number of the car's maker"},
	0x92: {"systemSupplierECUHardwareNumber", "hardware number of the supplier"},
	0x93: {"systemSupplierECUHardwareVersionNumber", "hardware version of the supplier"},
	0x94: {"systemSupplierECUSoftwareNumber", "software number of the supplier"},
	0x95: {"systemSupplierECUSoftwareVersionNumber", "software version of the supplier"},
	0x96: {"exhaustRegulationOrTypeApprovalNumber", "type approval number"},
	0x97: {"systemNameOrEngineType", "name of the system"},
	0x98: {"repairShopCodeOrTesterSerialNumber", "who programmed it last"},
	0x99: {"programmingDate", "programmed on"},
	0x9A: {"calibrationRepairShopCodeOrCalibrationEquipmentSerialNumber", "who calibrated it last"},
	0x9B: {"calibrationDate", "calibrated on"},
	0x9C: {"calibrationEquipmentSoftwareNumber", "software of the calibration equipment"},
	0x9D: {"ECUInstallationDate", "fitted on"},
}

// PlateName is the standard's name of an identification option and what it says in a few words; ok is false for one that
// the standard leaves to the maker.
func PlateName(option byte) (name, text string, ok bool) {
	p, ok := plates[option]
	return p.name, p.text, ok
}

// Plate is one answer to 1A.
type Plate struct {
	Option byte
	Text   string // "" where the data is not text
	Raw    []byte
}

// Plate reads what the module tells about itself (1A, options 80 to 9F).
func (c *Client) Plate(ctx context.Context, option byte) (Plate, error) {
	if option < firstPlate || option > lastPlate {
		return Plate{}, fmt.Errorf("kwp: identification option %02X is outside 80 to 9F", option)
	}
	a, err := c.read(ctx, sidPlate, option)
	if err != nil {
		return Plate{}, err
	}
	return DecodePlate(a)
}

// DecodePlate reads 5A: the option and its data. Text is printable ASCII between filling of 00, FF and blanks.
func DecodePlate(a []byte) (Plate, error) {
	if len(a) < 3 {
		return Plate{}, &ShapeError{"identification", a, "the answer holds no data"}
	}
	p := Plate{Option: a[1], Raw: a[2:]}
	p.Text, _ = link.Text(p.Raw)
	return p, nil
}

// Local reads one value by its local identifier (21) and returns its bytes, whose meaning is the maker's own.
func (c *Client) Local(ctx context.Context, id byte) ([]byte, error) {
	a, err := c.read(ctx, sidLocal, id)
	if err != nil {
		return nil, err
	}
	return DecodeLocal(a)
}

// DecodeLocal reads 61: the identifier and its data.
func DecodeLocal(a []byte) ([]byte, error) {
	if len(a) < 3 {
		return nil, &ShapeError{"value", a, "the answer holds no data"}
	}
	return a[2:], nil
}

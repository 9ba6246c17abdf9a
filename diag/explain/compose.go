package explain

import (
	"fmt"
	"slices"

	"readback/diag/link"
)

// Deed is what an owner can ask of a module without writing a byte.
type Deed string

const (
	DeedCodes  Deed = "codes"  // read the stored trouble codes
	DeedNumber Deed = "number" // read the vehicle identification number
	DeedPlate  Deed = "plate"  // read the number of the part
	DeedErase  Deed = "erase"  // erase the stored trouble codes
)

// Deeds are all deeds, those that only read first.
var Deeds = []Deed{DeedCodes, DeedNumber, DeedPlate, DeedErase}

// deeds are the payloads by the protocol that a module was found to speak.
var deeds = map[string]map[Deed][]byte{
	"UDS": { // ISO 14229-1: 19 02, all status bits; 22 with F190 and F187; 14 with the group of all DTCs
		DeedCodes:  {0x19, 0x02, 0xFF},
		DeedNumber: {0x22, 0xF1, 0x90},
		DeedPlate:  {0x22, 0xF1, 0x87},
		DeedErase:  {0x14, 0xFF, 0xFF, 0xFF},
	},
	"KWP": { // ISO 14230-3: 18 with all groups; 1A with 90 and 87; 14 with all groups
		DeedCodes:  {0x18, 0x02, 0xFF, 0x00},
		DeedNumber: {0x1A, 0x90},
		DeedPlate:  {0x1A, 0x87},
		DeedErase:  {0x14, 0xFF, 0x00},
	},
	"OBD": { // SAE J1979: services 03, 09 and 04
		DeedCodes:  {0x03},
		DeedNumber: {0x09, 0x02},
		DeedErase:  {0x04},
	},
}

// Compose writes the request for a deed as a single frame filled up with filler, in the form that [Explain] reads. It
// tells false where the standard that the module speaks has no such request, or its address can't be written as one
// identifier.
func Compose(d Deed, m Module, filler byte) (text string, ok bool) {
	payload, ok := deeds[m.Protocol][d]
	if !ok || m.Address.Request.IsZero() || m.Address.Mode != link.Normal && m.Address.Mode != link.NormalFixed {
		return "", false
	}
	frame := append([]byte{byte(len(payload))}, payload...)
	frame = append(frame, slices.Repeat([]byte{filler}, 8-len(frame))...)
	return fmt.Sprintf("%s % X", m.Address.Request, frame), true
}

package uds

import "readback/diag/dtc"

// Service identifiers, ISO 14229-1:2020 table 2, and the first byte of a refusal.
const (
	sidSession       = 0x10
	sidClear         = 0x14
	sidReadCodes     = 0x19
	sidReadData      = 0x22
	sidTesterPresent = 0x3E

	negativeAnswer = 0x7F
)

// Report types of service 19, ISO 14229-1:2020 table 317 and, for 0B-0E and 15, their neighbours.
const (
	reportNumber    = 0x01
	reportByMask    = 0x02
	reportSnapshot  = 0x04
	reportExtended  = 0x06
	reportSeverity  = 0x09
	reportSupported = 0x0A
	reportCounters  = 0x14
	reportPermanent = 0x15
)

func word(b []byte) uint16 { return uint16(b[0])<<8 | uint16(b[1]) }

// code3 are the three bytes of a code in a request; a code of two bytes has failure type 00.
func code3(c dtc.Code) [3]byte {
	var b [3]byte
	copy(b[:], c.Bytes())
	return b
}

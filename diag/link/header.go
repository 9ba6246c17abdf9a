package link

// Tester is the address of external test equipment (ISO 14230-2, ISO 15765-4).
const Tester uint8 = 0xF1

// everyone is the target byte of a request to all modules of emission control (ISO 14230-4, and as on 18DB33F1).
const everyone uint8 = 0x33

// AtHeader is the address of one module on a serial bus whose messages begin with header bytes instead of an
// identifier: ISO 9141-2, ISO 14230 and SAE J1850. So that such an address is told apart, shown and stored as all others
// are, Request and Answer hold the 29-bit identifiers of ISO 15765-4 with the same two address bytes: 18DAttF1 and
// 18DAF1tt. Nothing with these identifiers is on the bus.
//
// A Link of such a bus hands over whole answers. The lists of codes (43, 47 and 4A) of one module come as one list of
// two-byte codes, 0000 where there is none, without the number of codes that they have on CAN. The numbered messages of
// service 09 come as one answer in the form that it has on CAN, with the number of items. Those of service 06, test results
// of five bytes, come as one after another behind the number of the test; their form is not that of CAN.
func AtHeader(target uint8) Address {
	return Address{
		Mode:    Header,
		Request: ID29(0x18DA0000 | uint32(target)<<8 | uint32(Tester)),
		Answer:  ID29(0x18DA0000 | uint32(Tester)<<8 | uint32(target)),
		Target:  target,
		Source:  Tester,
	}
}

// AllAtHeader is the address of all modules of emission control on such a bus, with the identifier 18DB33F1. The header
// bytes that stand for it on the wire are the bus's own: C2 33 F1, 68 6A F1 or 61 6A F1.
func AllAtHeader() Address {
	return Address{Mode: Header, Request: Functional29().Request, Functional: true, Target: everyone, Source: Tester}
}

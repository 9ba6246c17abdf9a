package uds

import "readback/diag/dtc"

// Groups of codes that 14 can name (ISO 14229-1:2020 annex D.1).
const (
	GroupAll       uint32 = 0xFFFFFF
	GroupEmissions uint32 = 0xFFFF33
	GroupSafety    uint32 = 0xFFFFD0
	GroupVOBD      uint32 = 0xFFFFFE
)

// The standard's names of functional groups; group 14 FFFFxx names the group xx of 19 42, 19 55 and 19 56.
var functionalGroups = map[byte]string{0x33: "Emissions-system group", 0xD0: "Safety-system group", 0xFE: "VOBD system"}

// FunctionalGroupName is the standard's name of a functional group of 19 42, 19 55 and 19 56.
func FunctionalGroupName(group byte) (name string, ok bool) {
	name, ok = functionalGroups[group]
	return name, ok
}

// GroupOf is the group that holds one code only.
func GroupOf(code dtc.Code) uint32 {
	b := code3(code)
	return uint32(b[0])<<16 | uint32(b[1])<<8 | uint32(b[2])
}

// ClearRequest is the request to erase a group of codes, or one code (14, clause 12.2). This package does not send it.
func ClearRequest(group uint32) []byte {
	return []byte{sidClear, byte(group >> 16), byte(group >> 8), byte(group)}
}

// ClearMemoryRequest erases in a memory of the maker's own, as 19 17 shows it; the memory selection byte is new in
// ISO 14229-1:2020. This package does not send it.
func ClearMemoryRequest(group uint32, memory byte) []byte {
	return append(ClearRequest(group), memory)
}

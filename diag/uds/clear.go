package uds

// Groups of codes that 14 can name (ISO 14229-1:2020 annex D.1).
const (
	GroupAll       uint32 = 0xFFFFFF
	GroupEmissions uint32 = 0xFFFF33
	GroupSafety    uint32 = 0xFFFFD0
	GroupVOBD      uint32 = 0xFFFFFE
)

// ClearRequest is the request to erase a group of codes, or one code (14, clause 12.2). This package does not send it.
func ClearRequest(group uint32) []byte {
	return []byte{sidClear, byte(group >> 16), byte(group >> 8), byte(group)}
}

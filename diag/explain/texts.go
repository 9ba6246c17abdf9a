package explain

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

const hexDigits = "0123456789ABCDEF"

// appendHex appends bytes as pairs of hex digits with blanks between them.
func appendHex(out, b []byte) []byte {
	for i, x := range b {
		if i > 0 {
			out = append(out, ' ')
		}
		out = append(out, hexDigits[x>>4], hexDigits[x&0xF])
	}
	return out
}

func hexOf(b []byte) string {
	var room [64]byte
	return string(appendHex(room[:0], b))
}

func hexText(b []byte) string {
	var room [64]byte
	return string(append(appendHex(append(room[:0], "Bytes "...), b), '.'))
}

func upperFirst(s string) string {
	var room [64]byte
	return string(appendUpper(room[:0], s))
}

// appendUpper appends s with a capital at its beginning.
func appendUpper(b []byte, s string) []byte {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return b
	}
	return append(utf8.AppendRune(b, unicode.ToUpper(r)), s[n:]...)
}

func lowerFirst(s string) string { return strings.ToLower(s[:min(1, len(s))]) + s[min(1, len(s)):] }

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// statusBits are the bits of the status of a code, ISO 14229-1 annex D.2, from bit 0 up.
var statusBits = [8]string{"failing now", "failed since switch-on", "pending", "confirmed",
	"not tested since the clear", "failed since the clear", "not tested since switch-on", "asking for a lamp"}

func statusMaskText(b []byte) string {
	switch b[0] {
	case 0:
		return "None: no code fits a pattern of 00."
	case 0xFF:
		return "Every code, whatever its state."
	}
	return "Codes that are " + joinOr(bitNames(b[0])) + "."
}

func bitNames(b byte) []string {
	var out []string
	for i, n := range statusBits {
		if b>>i&1 == 1 {
			out = append(out, n)
		}
	}
	return out
}

func joinOr(s []string) string { return join(s, "or") }

func join(s []string, word string) string {
	switch len(s) {
	case 0:
		return ""
	case 1:
		return s[0]
	}
	return strings.Join(s[:len(s)-1], ", ") + " " + word + " " + s[len(s)-1]
}

// groups are the groups of codes of ISO 14229-1 annex D.1; 000000 is from older editions.
var groups = map[uint32]string{0xFFFFFF: "All groups: every code in this module, with its stored snapshots.",
	0xFFFF33: "The emission codes.", 0xFFFFD0: "The codes of the safety systems.",
	0xFFFFFE: "The codes of on-board diagnosis.", 0x000000: "In older editions of the standard: the emission codes."}

func be24(b []byte) uint32 { return uint32(b[0])<<16 | uint32(b[1])<<8 | uint32(b[2]) }

func groupText(b []byte) string {
	if t := groups[be24(b)]; t != "" {
		return t
	}
	return "The code " + codeName(b) + " only, with its stored snapshots."
}

func oldGroupText(b []byte) string {
	switch be16(b) {
	case 0xFF00:
		return "All groups (older form): every code in this module."
	case 0x0000:
		return "The codes of the drive (older form)."
	case 0x4000:
		return "The codes of the chassis (older form)."
	case 0x8000:
		return "The codes of the body (older form)."
	case 0xC000:
		return "The codes of the network (older form)."
	}
	return "The code " + codeName(b) + " or a group of that number (older form)."
}

// areaText: functional group identifiers, ISO 14229-1 annex D.
func areaText(b byte) string {
	switch b {
	case 0x33:
		return "The emission systems."
	case 0xD0:
		return "The safety systems."
	case 0xFE:
		return "On-board diagnosis."
	case 0xFF:
		return "All areas."
	}
	return fmt.Sprintf("The area number %02X.", b)
}

// ioText: inputOutputControlParameter, ISO 14229-1 annex E.
func ioText(b []byte) string {
	switch b[0] {
	case 0:
		return "Give control back to the module."
	case 1:
		return "Set it to its basic value."
	case 2:
		return "Hold it as it is."
	case 3:
		return "Set it for a while, as the next bytes say."
	}
	return hexText(b)
}

package explain

import "fmt"

// codeName writes two or three bytes as a trouble code.
func codeName(b []byte) string {
	name := fmt.Sprintf("%c%X%03X", "PCBU"[b[0]>>6], b[0]>>4&3, be16(b)&0xFFF)
	if len(b) > 2 {
		name += fmt.Sprintf("-%02X", b[2])
	}
	return name
}

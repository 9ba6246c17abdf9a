package explain

import "readback/diag/dtc"

// codeName writes two or three bytes as a trouble code: P0A08, P0A08-13.
func codeName(b []byte) string {
	if len(b) > 2 {
		return dtc.From3(b[0], b[1], b[2]).String()
	}
	return dtc.From2(b[0], b[1]).String()
}

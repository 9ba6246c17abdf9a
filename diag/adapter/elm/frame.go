package elm

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"go.einride.tech/can"

	"readback/diag/link"
)

var errNotFrame = errors.New("elm: the line is no CAN frame")

// parseFrame reads a line with headers (H1), with or without spaces (S0) and with or without the digit of D1 that counts
// the data bytes. wide tells whether identifiers have 29 bits, which the line itself doesn't.
func parseFrame(line string, wide bool) (can.Frame, error) {
	s := squeeze(withoutSearch(line))
	digits := 3
	if wide {
		digits = 8
	}
	if len(s) < digits+1 || strings.Trim(s, "0123456789ABCDEF") != "" {
		return can.Frame{}, fmt.Errorf("%w: %q", errNotFrame, clip(line))
	}
	id, err := link.ParseID(s[:digits])
	if err != nil {
		return can.Frame{}, fmt.Errorf("%w: %q", errNotFrame, clip(line))
	}
	text := s[digits:]
	count := -1
	if len(text)%2 == 1 {
		n, err := strconv.ParseUint(text[:1], 16, 8)
		if err != nil {
			return can.Frame{}, fmt.Errorf("%w: %q", errNotFrame, clip(line))
		}
		count, text = int(n), text[1:]
	}
	data, err := hex.DecodeString(text)
	if err != nil || len(data) > can.MaxDataLength || count >= 0 && count != len(data) {
		return can.Frame{}, fmt.Errorf("%w: %q", errNotFrame, clip(line))
	}
	f := can.Frame{ID: id.Value, IsExtended: id.Extended, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f, nil
}

// clip keeps an error short whatever arrived.
func clip(line string) string {
	const most = 60
	if len(line) > most {
		return line[:most] + "..."
	}
	return line
}

// typed is a data field as it is typed.
func typed(data []byte) string { return strings.ToUpper(hex.EncodeToString(data)) }

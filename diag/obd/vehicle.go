package obd

import (
	"context"
	"fmt"
	"strings"
)

// Information types of service 09, SAE J1979 annex G. The odd ones from 01 to 09 are the numbers of messages on the older
// buses.
const (
	infoVIN         = 0x02
	infoCalibration = 0x04
	infoCheck       = 0x06
	infoSpark       = 0x08
	infoName        = 0x0A
	infoCompression = 0x0B
)

// VIN reads the vehicle identification number (09 02). It is not checked here.
func (c *Client) VIN(ctx context.Context) (Answers[string], error) {
	return ask(ctx, c, DecodeVIN, sidVehicle, infoVIN)
}

// CalibrationIDs reads the names of the software (09 04).
func (c *Client) CalibrationIDs(ctx context.Context) (Answers[[]string], error) {
	return ask(ctx, c, DecodeCalibrationIDs, sidVehicle, infoCalibration)
}

// ModuleName reads what a module calls itself (09 0A).
func (c *Client) ModuleName(ctx context.Context) (Answers[string], error) {
	return ask(ctx, c, DecodeModuleName, sidVehicle, infoName)
}

// CheckNumbers reads the check values over the software (09 06), one for each calibration name, as eight hexadecimal digits.
func (c *Client) CheckNumbers(ctx context.Context) (Answers[[]string], error) {
	return ask(ctx, c, DecodeCheckNumbers, sidVehicle, infoCheck)
}

// InfoOffered asks which information types each module offers (09 00, 20 ... E0).
func (c *Client) InfoOffered(ctx context.Context) (Answers[map[byte]bool], error) {
	return c.offered(ctx, func(first byte) []byte { return []byte{sidVehicle, first} }, decodeInfoOffered)
}

// Info reads one information type (09).
func (c *Client) Info(ctx context.Context, kind byte) (Answers[Info], error) {
	return ask(ctx, c, DecodeInfo, sidVehicle, kind)
}

// DecodeVIN reads 49 02: the number of items, then 17 characters.
func DecodeVIN(a []byte) (string, error) {
	items, err := items("vehicle identification number", a, 17)
	if err != nil {
		return "", err
	}
	return items[0], nil
}

// DecodeCalibrationIDs reads 49 04: the number of items, then 16 characters each, filled up with zeros.
func DecodeCalibrationIDs(a []byte) ([]string, error) { return items("calibration names", a, 16) }

// DecodeModuleName reads 49 0A: the number of items, then 20 characters: up to four of an abbreviation, filled with
// zeros, a hyphen, and the name.
func DecodeModuleName(a []byte) (string, error) {
	items, err := items("name of the module", a, 20)
	if err != nil {
		return "", err
	}
	return items[0], nil
}

// DecodeCheckNumbers reads 49 06: the number of items, then four bytes each.
func DecodeCheckNumbers(a []byte) ([]string, error) {
	b, err := counted("check values of the software", a, 4)
	if err != nil {
		return nil, err
	}
	out := []string{}
	for ; len(b) > 0; b = b[4:] {
		out = append(out, fmt.Sprintf("%X", b[:4]))
	}
	return out, nil
}

// decodeInfoOffered reads 49 00: four bytes. Some modules put a number of items of 1 before them (common practice).
func decodeInfoOffered(a []byte) (map[byte]bool, error) {
	if len(a) == 7 && a[2] == 1 {
		return offeredBits(a[1], a[3:7]), nil
	}
	return DecodeOffered(a)
}

// counted checks the number of items of an answer and returns the items, of size bytes each, without what follows.
func counted(op string, a []byte, size int) ([]byte, error) {
	if len(a) < 3 {
		return nil, &ShapeError{op, a, "the number of items is missing"}
	}
	n, b := int(a[2]), a[3:]
	if n == 0 || len(b) < n*size {
		return nil, &ShapeError{op, a, fmt.Sprintf("%d items of %d bytes are announced, %d bytes follow", n, size, len(b))}
	}
	return b[:n*size], nil
}

// items splits the text items of an answer; fillings of zeros, at the end or inside, are left out. An item that is not
// text is an error: its bytes are in it.
func items(op string, a []byte, size int) ([]string, error) {
	b, err := counted(op, a, size)
	if err != nil {
		return nil, err
	}
	out := []string{}
	for ; len(b) > 0; b = b[size:] {
		s, ok := text(b[:size])
		if !ok {
			return nil, &ShapeError{op, a, "the item is not text"}
		}
		out = append(out, s)
	}
	return out, nil
}

// text is an item without its filling; ok is false when it is not text.
func text(b []byte) (s string, ok bool) {
	s = strings.Trim(strings.ReplaceAll(string(b), "\x00", ""), " ")
	for j := range len(s) {
		if s[j] < 0x20 || s[j] > 0x7E {
			return "", false
		}
	}
	return s, true
}

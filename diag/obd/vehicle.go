package obd

import (
	"context"
	"fmt"
	"strings"
)

// Information types of service 09, SAE J1979 annex G.
const (
	infoVIN         = 0x02
	infoCalibration = 0x04
	infoName        = 0x0A
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

// items splits the text items of an answer; fillings of zeros, at the end or inside, are left out. An item that is not
// text is an error: its bytes are in it.
func items(op string, a []byte, size int) ([]string, error) {
	if len(a) < 3 {
		return nil, &ShapeError{op, a, "the number of items is missing"}
	}
	n, b := int(a[2]), a[3:]
	if n == 0 || len(b) < n*size {
		return nil, &ShapeError{op, a, fmt.Sprintf("%d items of %d bytes are announced, %d bytes follow", n, size, len(b))}
	}
	out := make([]string, n)
	for i := range out {
		s := strings.Trim(strings.ReplaceAll(string(b[i*size:(i+1)*size]), "\x00", ""), " ")
		for j := range len(s) {
			if s[j] < 0x20 || s[j] > 0x7E {
				return nil, &ShapeError{op, a, "the item is not text"}
			}
		}
		out[i] = s
	}
	return out, nil
}

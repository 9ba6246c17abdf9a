package kwp

import (
	"context"

	"readback/diag/dtc"
)

// recordAccessMethod of 12 (from memory of ISO 14230-3).
const (
	byCode     = 0x02 // requestByDTC
	AllRecords = 0xFF // every freeze frame of the code
)

// Frozen is one answer to 12. What the values mean is the maker's own: they stay raw.
type Frozen struct {
	Frame byte
	Raw   []byte
}

// Frozen reads what was kept with a code (12 ff 02 hh ll).
func (c *Client) Frozen(ctx context.Context, frame byte, code dtc.Code) (Frozen, error) {
	hi, lo := two(code)
	a, err := c.read(ctx, sidFrozen, frame, byCode, hi, lo)
	if err != nil {
		return Frozen{}, err
	}
	return DecodeFrozen(a)
}

// DecodeFrozen reads 52: the number of the freeze frame and its data.
func DecodeFrozen(a []byte) (Frozen, error) {
	if len(a) < 2 {
		return Frozen{}, &ShapeError{"freeze frame", a, "its number is missing"}
	}
	return Frozen{a[1], a[2:]}, nil
}

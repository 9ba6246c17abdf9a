package uds

import (
	"context"
	"fmt"
)

// Identified is one value with its data identifier.
type Identified struct {
	Identifier uint16
	Data       []byte
}

// DataRequest asks for values by their identifiers (22, clause 11.2).
func DataRequest(ids ...uint16) []byte {
	request := []byte{sidReadData}
	for _, id := range ids {
		request = append(request, byte(id>>8), byte(id))
	}
	return request
}

// ReadData reads one value by its identifier (22, clause 11.2) and returns its bytes.
func (c *Client) ReadData(ctx context.Context, id uint16) ([]byte, error) {
	a, err := c.read(ctx, DataRequest(id)...)
	if err != nil {
		return nil, err
	}
	if len(a) < 4 {
		return nil, &ShapeError{fmt.Sprintf("value %04X", id), a, "the answer holds no data"}
	}
	return a[3:], nil
}

// ReadSeveral reads several values in one request. The length of a value is not on the wire: size tells it; the last
// value takes what is left when its length is not known. A module leaves out the identifiers that it does not know.
func (c *Client) ReadSeveral(ctx context.Context, ids []uint16, size func(id uint16) (int, bool)) ([]Identified, error) {
	a, err := c.read(ctx, DataRequest(ids...)...)
	if err != nil {
		return nil, err
	}
	return DecodeData(a, size)
}

// DecodeData reads 62: for each value its identifier and its data. A value whose length is not known takes all the
// rest.
func DecodeData(a []byte, size func(id uint16) (int, bool)) ([]Identified, error) {
	if len(a) < 4 {
		return nil, &ShapeError{"values", a, "the answer holds no data"}
	}
	var out []Identified
	for b := a[1:]; len(b) > 0; {
		if len(b) < 3 {
			return nil, &ShapeError{"values", a, "an identifier without data is left over"}
		}
		id := word(b)
		n, known := size(id)
		switch {
		case !known:
			n = len(b) - 2
		case n < 0 || n > len(b)-2:
			return nil, &ShapeError{"values", a, fmt.Sprintf("the value %04X should have %d bytes", id, n)}
		}
		out = append(out, Identified{Identifier: id, Data: b[2 : 2+n]})
		b = b[2+n:]
	}
	return out, nil
}

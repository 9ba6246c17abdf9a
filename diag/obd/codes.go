package obd

import (
	"context"
	"errors"
	"fmt"

	"readback/diag/dtc"
	"readback/diag/link"
)

// Stored lists the confirmed codes (service 03), Pending those seen on this trip or the last (07), Permanent those
// that only the module itself erases (0A).
func (c *Client) Stored(ctx context.Context) (Answers[[]dtc.Code], error) {
	return ask(ctx, c, DecodeCodes, sidStored)
}

func (c *Client) Pending(ctx context.Context) (Answers[[]dtc.Code], error) {
	return ask(ctx, c, DecodeCodes, sidPending)
}

func (c *Client) Permanent(ctx context.Context) (Answers[[]dtc.Code], error) {
	return ask(ctx, c, DecodeCodes, sidPermanent)
}

// ClearRequest is the request to erase the codes and what was kept with them (service 04). This package does not send
// it.
func ClearRequest() []byte { return []byte{sidClear} }

// DecodeCodes reads 43, 47 and 4A as they are on CAN: the number of codes, then two bytes each. P0000 is filling. The
// list is never nil: a list without codes is an answer.
func DecodeCodes(a []byte) ([]dtc.Code, error) {
	if len(a) < 2 {
		return nil, &ShapeError{"list of codes", a, "the number of codes is missing"}
	}
	n, b := int(a[1]), a[2:]
	if len(b) < 2*n {
		return nil, &ShapeError{"list of codes", a, fmt.Sprintf("%d codes are announced, %d bytes follow", n, len(b))}
	}
	for _, x := range b[2*n:] {
		if x != 0 {
			return nil, &ShapeError{"list of codes", a, fmt.Sprintf("%d codes are announced, but more follow", n)}
		}
	}
	return codes(b[:2*n]), nil
}

// DecodeCodesSerial reads 43, 47 and 4A as they are on the older serial lines (ISO 9141-2, ISO 14230-4, SAE J1850):
// three codes without a number before them, P0000 where there is none. The two forms can't be told apart by their
// bytes: the line that they came over decides.
func DecodeCodesSerial(a []byte) ([]dtc.Code, error) {
	if len(a) < 1 || len(a)%2 != 1 {
		return nil, &ShapeError{"list of codes", a, "a code has two bytes"}
	}
	return codes(a[1:]), nil
}

func codes(b []byte) []dtc.Code {
	out := []dtc.Code{}
	for ; len(b) >= 2; b = b[2:] {
		if b[0] != 0 || b[1] != 0 {
			out = append(out, dtc.From2(b[0], b[1]))
		}
	}
	return out
}

// Codes are the three lists of one module. A list that the module refused or did not give is nil; one without codes
// is empty.
type Codes struct {
	Stored, Pending, Permanent []dtc.Code
}

// Codes reads all three lists. A module that gives none of them is not in the map; nobody answering leaves it empty.
func (c *Client) Codes(ctx context.Context) (map[link.ID]Codes, error) {
	out := map[link.ID]Codes{}
	for _, list := range []struct {
		read func(context.Context) (Answers[[]dtc.Code], error)
		into func(*Codes) *[]dtc.Code
	}{
		{c.Stored, func(x *Codes) *[]dtc.Code { return &x.Stored }},
		{c.Pending, func(x *Codes) *[]dtc.Code { return &x.Pending }},
		{c.Permanent, func(x *Codes) *[]dtc.Code { return &x.Permanent }},
	} {
		got, err := list.read(ctx)
		if errors.Is(err, ErrNoAnswer) {
			continue
		}
		if err != nil {
			return out, err
		}
		for id, r := range got {
			if r.Err == nil {
				x := out[id]
				*list.into(&x) = r.Value
				out[id] = x
			}
		}
	}
	return out, nil
}

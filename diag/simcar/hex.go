package simcar

import (
	"encoding/hex"
	"fmt"
	"strings"
)

// Byte is one byte, written as two hex digits.
type Byte byte

func (b Byte) MarshalText() ([]byte, error) { return fmt.Appendf(nil, "%02X", byte(b)), nil }

func (b *Byte) UnmarshalText(t []byte) error {
	v, err := parseHex(string(t))
	if err != nil || len(v) != 1 {
		return fmt.Errorf("%q is not one byte in hex, as in 2F", t)
	}
	*b = Byte(v[0])
	return nil
}

// Hex is a row of bytes, written in hex with or without spaces.
type Hex []byte

func (h Hex) MarshalText() ([]byte, error) { return fmt.Appendf(nil, "%X", []byte(h)), nil }

func (h *Hex) UnmarshalText(t []byte) error {
	v, err := parseHex(string(t))
	if err != nil {
		return fmt.Errorf("%q are not bytes in hex", t)
	}
	*h = v
	return nil
}

func parseHex(s string) ([]byte, error) { return hex.DecodeString(strings.ReplaceAll(s, " ", "")) }

package obd_test

import (
	"bytes"
	"testing"

	"readback/diag/obd"
)

// What the decoders of answers keep is never more than there is, and the bytes of values are in their order.
func FuzzDecode(f *testing.F) {
	for _, b := range [][]byte{
		{0x41, 0x04, 0xFF, 0x05, 0x7B, 0x0C, 0x1A, 0xF8},
		{0x41, 0x6D, 0x3F, 1, 0x2C, 1, 0xF4, 0x3C, 1, 0x2C, 1, 0xF4, 0x3C, 0x0D, 0x17},
		{0x42, 0x0C, 0x00, 0x1A, 0xF8, 0x0D, 0x00, 0x17},
		{0x43, 0x02, 0x01, 0x02, 0x01, 0x13},
		{0x46, 0x01, 0x01, 0x0A, 0x0B, 0xB0, 0x0B, 0xB0, 0x0B, 0xB0},
		{0x45, 0x05, 0x01, 0x20, 0x10, 0x30},
		{0x49, 0x02, 0x01, '1'},
		{0x49, 0x08, 0x02, 0, 1, 0, 2},
	} {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if m, err := obd.DecodeCurrent(b); err == nil {
			n := 1
			for _, x := range m {
				if !bytes.Contains(b, x.Raw) {
					t.Fatalf("% X is not in % X", x.Raw, b)
				}
				n += 1 + len(x.Raw)
			}
			if n > len(b) || len(m) == 0 || len(bytes.Trim(b[n:], "\x00")) > 0 {
				t.Fatalf("%d bytes out of %d", n, len(b))
			}
		}
		if m, err := obd.DecodeFrozen(b); err == nil {
			n := 1
			for _, x := range m {
				n += 2 + len(x.Raw)
			}
			if n > len(b) || len(m) == 0 || len(bytes.Trim(b[n:], "\x00")) > 0 {
				t.Fatalf("%d bytes out of %d", n, len(b))
			}
		}
		if codes, err := obd.DecodeCodes(b); err == nil && len(codes) > int(b[1]) {
			t.Fatalf("%d codes, %d announced", len(codes), b[1])
		}
		if list, err := obd.DecodeSelfTests(b); err == nil && (len(list) == 0 || 1+9*len(list) > len(b)) {
			t.Fatalf("%d results out of %d bytes", len(list), len(b))
		}
		if x, err := obd.DecodeInfo(b); err == nil && !bytes.Contains(b, x.Raw) {
			t.Fatalf("% X is not in % X", x.Raw, b)
		}
		if x, err := obd.DecodeTracking(b); err == nil && 4+4*len(x.Tests)+len(x.Rest) > len(b) {
			t.Fatalf("%d tests out of %d bytes", len(x.Tests), len(b))
		}
		_, _ = obd.DecodeCodesSerial(b)
		_, _ = obd.DecodeSerialTest(b)
		_, _ = obd.DecodeSensorTest(b)
		_, _ = obd.DecodeVIN(b)
		_, _ = obd.DecodeCalibrationIDs(b)
		_, _ = obd.DecodeCheckNumbers(b)
		_, _ = obd.DecodeModuleName(b)
		_, _ = obd.DecodeMonitors(b)
		_, _ = obd.DecodeOffered(b)
		_, _, _ = obd.DecodeMessageCount(b)
	})
}

// A data record of J1979-2 keeps all of its bytes, whatever they are.
func FuzzIdentifier(f *testing.F) {
	f.Add(uint16(0xF40C), []byte{0x1A, 0xF8})
	f.Add(uint16(0xF601), []byte{0x01, 0x0A, 0, 1, 0, 0, 0, 2})
	f.Add(uint16(0xF802), []byte("1D4GP00R55B123456"))
	f.Add(uint16(0xF808), []byte{2, 0, 1, 0, 2})
	f.Add(uint16(0xF400), []byte{0, 0, 0, 1})
	f.Fuzz(func(t *testing.T, id uint16, b []byte) {
		x, err := obd.DecodeIdentifier(id, b)
		if !bytes.Equal(x.Raw, b) || x.Identifier != id {
			t.Fatalf("%04X: % X, want % X", id, x.Raw, b)
		}
		if filled := x.Parameter != nil || x.Tests != nil || x.Info != nil || x.Offered != nil; err != nil && filled {
			t.Fatalf("%04X: %+v, %v", id, x, err)
		}
		if x.Parameter != nil && !bytes.Equal(x.Parameter.Raw, b) {
			t.Fatalf("%04X: % X, want % X", id, x.Parameter.Raw, b)
		}
	})
}

package explain

import (
	"strings"
	"testing"

	"readback/diag/link"
)

func TestExplainAnswer(t *testing.T) {
	for _, c := range []struct {
		request, answer []byte
		want            string
	}{
		{[]byte{0x14, 0xFF, 0xFF, 0xFF}, []byte{0x7F, 0x14, 0x78}, "understood, needs a moment (78)"},
		{[]byte{0x14, 0xFF, 0xFF, 0xFF}, []byte{0x54}, "done, codes are forgotten"},
		{[]byte{0x04}, []byte{0x44}, "done, codes are forgotten"},
		{[]byte{0x14, 0xFF, 0xFF, 0xFF}, []byte{0x7F, 0x14, 0x22}, "refused: the car is not in the state it needs (22). Ignition on, drive off"},
		{[]byte{0x14, 0xFF, 0xFF, 0xFF}, []byte{0x7F, 0x14, 0x72}, "Do not send it again"},
		{[]byte{0x14, 0xFF, 0xFF, 0xFF}, []byte{0x7F, 0x14, 0x93}, "Measure the 12 V battery first"},
		{[]byte{0x14, 0xFF, 0xFF, 0xFF}, []byte{0x7F, 0x19, 0x11}, "about another request (19)"},
		{[]byte{0x14, 0xFF, 0xFF, 0xFF}, []byte{0x59, 0x02, 0xFF}, "the answer to another request (19)"},
		{[]byte{0x3E, 0x00}, []byte{0x7E, 0x00}, "here, and listening"},
		{[]byte{0x10, 0x01}, []byte{0x50, 0x01, 0, 0x32, 1, 0xF4}, "back to normal"},
		{nil, []byte{0x7F}, "cut short"},
		{nil, []byte{0x14}, "not an answer"},
		{nil, nil, "empty message"},
		{nil, []byte{0xFA, 1, 2}, "no standard has"},
		// SAE J2012 / ISO 15031-6 encoding: 01 33 is P0133 (ELM327 data sheet, "Interpreting Trouble Codes").
		{[]byte{0x03}, []byte{0x43, 0x01, 0x01, 0x33}, "P0133"},
		// A real car on CAN, where the byte after 43 is a count (forum transcript, codes P0102 P0113).
		{[]byte{0x03}, []byte{0x43, 0x02, 0x01, 0x02, 0x01, 0x13}, "P0102; P0113"},
		{[]byte{0x19, 0x02, 0xFF}, []byte{0x59, 0x02, 0xFF}, "no codes of this kind"},
		{[]byte{0x19, 0x02, 0xFF}, []byte{0x59, 0x02, 0xFF, 0xC1, 0x40, 0x87, 0x09}, "U0140-87: failing now and confirmed (status 09)"},
		// 41 0C 0B 30 is 716 rpm (published example).
		{[]byte{0x01, 0x0C}, []byte{0x41, 0x0C, 0x0B, 0x30}, "716 1/min"},
		// 41 05 46 00: 0x46 - 40 = 30 degrees (SAE J1979 scaling; bytes from the ELM327 data sheet).
		{[]byte{0x01, 0x05}, []byte{0x41, 0x05, 0x46}, "30 °C"},
		// 41 10 03 B8: 9.52 g/s by the scaling of SAE J1979 (the forum that published the bytes says 7.68, which is wrong).
		{[]byte{0x01, 0x10}, []byte{0x41, 0x10, 0x03, 0xB8}, "9.52 g/s"},
		// 41 01 81 07 65 04: lamp on, one code (ELM327 data sheet).
		{[]byte{0x01, 0x01}, []byte{0x41, 0x01, 0x81, 0x07, 0x65, 0x04}, "Lamp: on, stored codes: 1"},
		// VIN of the ELM327 data sheet, page 42.
		{[]byte{0x09, 0x02}, append([]byte{0x49, 0x02, 0x01}, "1D4GP00R55B123456"...), "1D4GP00R55B123456"},
		{[]byte{0x22, 0xF1, 0x90}, append([]byte{0x62, 0xF1, 0x90}, "0TNCE23E3P0004217"...), "0TNCE23E3P0004217"},
	} {
		if got := ExplainAnswer(c.request, c.answer); !strings.Contains(got, c.want) {
			t.Errorf("% X: %q, want %q in it", c.answer, got, c.want)
		}
	}
}

// The answer to 10 03 of a real module: P2 50 ms, P2* 5000 ms (Wireshark's sample capture ecu_trace.pcap).
func TestSessionAnswer(t *testing.T) {
	e := ExplainFrame(link.ID11(0x7ED), []byte{0x06, 0x50, 0x03, 0x00, 0x32, 0x01, 0xF4, 0x55}, Options{})
	var all []string
	for _, f := range e.Fields {
		all = append(all, f.Text)
	}
	text := strings.Join(all, "\n")
	if e.Direction != Answer || !strings.Contains(text, "within 50 ms") || !strings.Contains(text, "within 5000 ms") {
		t.Errorf("%s: %s", e.Direction, text)
	}
}

// Layouts of service 19, as decoded by two open libraries that agree (bytes made up for this test).
func TestCodeAnswerLayouts(t *testing.T) {
	for _, c := range []struct {
		answer string
		want   []string // texts that must appear, in order
	}{
		{"5901FF010003", []string{"ISO 14229-1", "3 codes."}},
		{"5902FF0143002F0A8013080000", []string{"P0143-00", "P0A80-13", "P0A80-13: confirmed (status 08)"}},
		{"590209014300FF", []string{"failing now or confirmed", "P0143-00: failing now and confirmed (status FF)"}},
		{"5906014300080105", []string{"P0143-00", "Record number 1.", "Bytes 05"}},
		{"5904014300080101F40C0B30", []string{"P0143-00", "Record number 1.", "1 value.", "number F40C", "716 1/min"}},
		{"591401430081", []string{"counter at -127"}},
		{"5909FF2010014300AF", []string{"P0143-00", "Severity byte 20"}},
		{"594233FFFE042001430008", []string{"The emission systems.", "format 04", "P0143-00", "Severity byte 20"}},
		{"595533FF0401430008", []string{"format 04", "P0143-00"}},
		{"595633FF04FE01430008", []string{"Bytes FE", "P0143-00"}},
		{"5903014300010143000256", []string{"record 01", "record 02"}},
		{"591AFF900143000A", []string{"Bytes 90", "P0143-00"}},
	} {
		p := unhex(c.answer)
		_, pieces := answerPieces(p, false, false)
		var texts []string
		n := 0
		for _, x := range pieces {
			texts = append(texts, x.text)
			n += x.n
		}
		all := strings.Join(texts, "\n")
		rest := all
		for _, w := range c.want {
			i := strings.Index(rest, w)
			if i < 0 {
				t.Errorf("%s: no %q in\n%s", c.answer, w, all)
				break
			}
			rest = rest[i:]
		}
		if n != len(p) {
			t.Errorf("%s: pieces cover %d of %d bytes", c.answer, n, len(p))
		}
	}
}

// Boundaries of SAE J2012 codes.
func TestCodeNames(t *testing.T) {
	for bytes, want := range map[string]string{"0133": "P0133", "C123": "U0123", "5678": "C1678", "56789A": "C1678-9A", "A5B6C7": "B25B6-C7", "FFFFFF": "U3FFF-FF",
		"3FFF": "P3FFF", "4000": "C0000", "7FFF": "C3FFF", "8000": "B0000", "BFFF": "B3FFF", "C000": "U0000"} {
		if got := codeName(unhex(bytes)); got != want {
			t.Errorf("%s is %s, want %s", bytes, got, want)
		}
	}
}

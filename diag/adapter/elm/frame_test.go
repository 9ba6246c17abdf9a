package elm

import (
	"fmt"
	"net"
	"testing"

	"readback/diag/link"
)

// speedy is a line on which only one speed carries anything.
type speedy struct {
	net.Conn
	now, right int
}

func (s *speedy) Write(p []byte) (int, error) {
	if s.now != s.right {
		return len(p), nil
	}
	return s.Conn.Write(p)
}

// Forms of a line: ELM327 data sheet p. 39 (spaces), S0, D1 (a digit that counts the data bytes), 29 bits.
func TestParseFrame(t *testing.T) {
	for _, c := range []struct {
		line string
		wide bool
		want string // "" when it is no frame
	}{
		{"7E8 06 41 00 BE 3F B8 13 00", false, "7E8#064100BE3FB81300"},
		{"7E8064100BE3FB81300", false, "7E8#064100BE3FB81300"},
		{"7E8 8 06 41 00 BE 3F B8 13 00", false, "7E8#064100BE3FB81300"},
		{"7E88064100BE3FB81300", false, "7E8#064100BE3FB81300"},
		{"7e8 02 7e 00", false, "7E8#027E00"},
		{"7E8 0", false, "7E8#"},
		{"18 DA F1 10 03 7F 22 31", true, "18DAF110#037F2231"},
		{"18DAF110037F2231", true, "18DAF110#037F2231"},
		{"18 DA F1 10 4 03 7F 22 31", true, "18DAF110#037F2231"},
		{"18DAF1104037F2231", true, "18DAF110#037F2231"},
		{"7E8", false, ""},
		{"7E", false, ""},
		{"", false, ""},
		{"7E8 3 02 7E 00 AA", false, ""},
		{"7E8 01 02 03 04 05 06 07 08 09", false, ""},
		{"FFF 01", false, ""},
		{"38DAF110 01", true, ""},
		{"7E8 RTR", false, ""},
		{"+12 34", false, ""},
		{"014", false, ""},
		{"0: 49 02 01 31 44 34", false, ""},
	} {
		f, err := parseFrame(c.line, c.wide)
		got := ""
		if err == nil {
			got = fmt.Sprintf("%s#%X", link.IDOf(f), f.Data[:f.Length])
		}
		if got != c.want {
			t.Errorf("%q: %q (%v), want %q", c.line, got, err, c.want)
		}
	}
}

func FuzzParseFrame(f *testing.F) {
	f.Add("7E8 06 41 00 BE 3F B8 13 00", false)
	f.Add("18DAF1104037F2231", true)
	f.Add("SEARCHING...7E8 02 7E 00", false)
	f.Fuzz(func(t *testing.T, line string, wide bool) {
		meaningOf(line)
		frame, err := parseFrame(line, wide)
		if err == nil && (frame.Length > 8 || frame.IsExtended != wide || frame.Validate() != nil) {
			t.Errorf("%q: %+v", line, frame)
		}
	})
}

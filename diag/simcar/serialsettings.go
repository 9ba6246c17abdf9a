package simcar

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"readback/diag/link"

	"go.einride.tech/can"
)

// settings are everything that AT commands change, with their commands beside them (ELM327 data sheet, command summary).
type settings struct {
	echo      bool          // E
	feeds     bool          // L
	headers   bool          // H
	spaces    bool          // S
	lengths   bool          // D: the number of data bytes behind the identifier
	answers   bool          // R
	variable  bool          // V: frames as short as what was typed
	format    bool          // CAF
	flow      bool          // CFC
	silent    bool          // CSM
	keeps     bool          // M
	wait      time.Duration // ST
	times     time.Duration // CTM: multiplies wait
	adapt     int           // AT0, AT1, AT2
	slowest   time.Duration // the slowest answer seen, for adaptive timing
	priority  byte          // CP
	header    *uint32       // SH, 24 bits; nil: the protocol's own
	filtered  bool          // CRA, CF or CM set
	filter    uint32
	mask      uint32
	flowMode  byte    // FC SM
	flowID    *uint32 // FC SH
	flowData  []byte  // FC SD
	protocol  byte    // 1 to C; 0 when none is known yet
	automatic bool
	active    bool
	called    byte            // IIA: the address that a slow start calls
	opened    byte            // the address that the conversation on a serial line was opened with
	users     [2]userProtocol // B and C
	gaps      int             // spaces more between bytes than there should be
}

// userProtocol is what PB sets: a configuration byte and the divisor of 500 kbit/s.
type userProtocol struct{ config, divisor byte }

// Bits of a user protocol's configuration (data sheet, programmable parameters 2C and 2E).
const (
	userShortID  = 0x80 // sends with 11 bits
	userVariable = 0x40 // frames as short as what was typed
	userBoth     = 0x20 // receives both widths
	userFaster   = 0x10 // 8/7 of the speed
	userFormat   = 0x07 // 1: as ISO 15765-4
)

const (
	waitUnit    = 4 * time.Millisecond // of ST
	defaultWait = 0x32                 // in those units: 200 ms
	noMask      = can.MaxExtendedID
)

func (d *device) reset() {
	d.set = settings{
		echo: true, headers: false, spaces: true, answers: true, format: true, flow: true, silent: true, keeps: true,
		wait: defaultWait * waitUnit, times: 1, adapt: 1, priority: 0x18, automatic: true, called: allOfKWP,
		users: [2]userProtocol{{userShortID | userVariable | userBoth, 4}, {userShortID | userVariable | userBoth, 10}},
	}
}

// end is the end of a line.
func (s *settings) end() string {
	if s.feeds {
		return "\r\n"
	}
	return "\r"
}

// flag is the switch that a command such as E0 or CAF1 sets.
func (s *settings) flag(name string) *bool {
	return map[string]*bool{
		"E": &s.echo, "L": &s.feeds, "H": &s.headers, "S": &s.spaces, "D": &s.lengths, "R": &s.answers, "V": &s.variable,
		"CAF": &s.format, "CFC": &s.flow, "CSM": &s.silent, "M": &s.keeps,
	}[name]
}

// command carries out an AT command that only sets or tells something, and returns its answer.
func (d *device) command(text string) string {
	s := &d.set
	if n := len(text) - 1; n >= 1 && (text[n] == '0' || text[n] == '1') {
		if f := s.flag(text[:n]); f != nil {
			*f = text[n] == '1'
			return accepted
		}
	}
	switch text {
	case "I":
		return d.o.Version
	case "@1":
		return description
	case "RV":
		return fmt.Sprintf("%.1fV", d.car.Supply())
	case "IGN":
		if d.car.On() {
			return "ON"
		}
		return "OFF"
	case "D":
		protocol, automatic, active, users := s.protocol, s.automatic, s.active, s.users
		d.begin()
		s.protocol, s.automatic, s.active, s.users = protocol, automatic, active, users
		return accepted
	case "AL", "NL", "BI", "FE", "AR", "PPFFOFF": // nothing here depends on them
		if text == "AR" {
			s.filtered = false
		}
		return accepted
	case "AT0", "AT1", "AT2":
		s.adapt = int(text[2] - '0')
		return accepted
	case "CTM1", "CTM5":
		s.times = time.Duration(text[3] - '0')
		return accepted
	case "PC":
		s.active = false
		return accepted
	case "DP":
		return s.describe()
	case "DPN":
		return s.number()
	case "CS":
		return "T:00 R:00"
	case "CRA":
		s.filtered = false
		return accepted
	case "CEA": // off; no module here needs it on
		return accepted
	}
	if arg, ok := strings.CutPrefix(text, "BRT"); ok {
		return d.speedTimeout(arg)
	}
	return s.withArgument(text)
}

// argument is the rest of a command that has one of these names.
func argument(text string, names ...string) (name, arg string, ok bool) {
	for _, name := range names {
		if arg, ok := strings.CutPrefix(text, name); ok {
			return name, arg, true
		}
	}
	return "", "", false
}

func (s *settings) withArgument(text string) string {
	// the longer of two names that begin alike comes first
	name, arg, ok := argument(text, "IIA", "FCSH", "FCSD", "FCSM", "CRA", "CF", "CM", "CP", "SH", "ST", "SP", "TP", "PB")
	if !ok {
		return notUnderstood
	}
	switch name {
	case "CRA":
		return answer(s.setReceive(arg))
	case "SP", "TP":
		return answer(s.setProtocol(arg))
	case "FCSD":
		data, err := parseHex(arg)
		if err != nil || len(data) < 1 || len(data) > 5 {
			return notUnderstood
		}
		s.flowData = data
		return accepted
	}
	v, err := strconv.ParseUint(arg, 16, 32)
	if err != nil {
		return notUnderstood
	}
	return answer(s.setNumber(name, uint32(v), len(arg)))
}

func answer(ok bool) string {
	if ok {
		return accepted
	}
	return notUnderstood
}

// setNumber sets what takes one hex number; digits is how many were typed.
func (s *settings) setNumber(name string, v uint32, digits int) bool {
	identifier := digits == 3 && v <= can.MaxID || digits == 8 && v <= can.MaxExtendedID
	switch {
	case name == "SH" && (digits == 3 || digits == 6):
		s.header = &v
	case name == "SH" && digits == 8 && v <= can.MaxExtendedID:
		s.priority = byte(v >> 24)
		low := v & 0xFFFFFF
		s.header = &low
	case name == "CP" && digits == 2:
		s.priority = byte(v) & 0x1F
	case name == "IIA" && digits == 2:
		s.called = byte(v)
	case name == "ST" && digits <= 2:
		s.wait = time.Duration(v) * waitUnit
		if v == 0 {
			s.wait = defaultWait * waitUnit
		}
	case name == "CF" && identifier:
		if !s.filtered {
			s.mask = noMask
		}
		s.filter, s.filtered = v, true
	case name == "CM" && identifier:
		if !s.filtered {
			s.filter = 0
		}
		s.mask, s.filtered = v, true
	case name == "FCSH" && identifier:
		s.flowID = &v
	case name == "FCSM" && digits == 1 && v <= 2:
		if v > 0 && s.flowData == nil || v == 1 && s.flowID == nil {
			return false // what the mode needs was not given
		}
		s.flowMode = byte(v)
	case name == "PB" && digits == 4 && v&0xFF > 0 && v&0xFF <= 0x40:
		u := userProtocol{byte(v >> 8), byte(v)}
		s.users[0] = u
		if s.protocol == 0xC {
			s.users[0], s.users[1] = s.users[1], u
		}
	default:
		return false
	}
	return true
}

// setReceive sets the only identifier to be shown; X stands for any digit.
func (s *settings) setReceive(arg string) bool {
	value, err := strconv.ParseUint(strings.ReplaceAll(arg, "X", "0"), 16, 32)
	if err != nil || len(arg) != 3 && len(arg) != 8 || value > can.MaxExtendedID {
		return false
	}
	var mask uint32
	for _, digit := range arg {
		mask <<= 4
		if digit != 'X' {
			mask |= 0xF
		}
	}
	s.filter, s.mask, s.filtered = uint32(value), mask, true
	return true
}

// setProtocol takes 6, 06, A6 (automatic, starting with 6), 0 and 00.
func (s *settings) setProtocol(arg string) bool {
	automatic := false
	if len(arg) == 2 {
		automatic = arg[0] == 'A'
		if arg[0] != 'A' && arg[0] != '0' {
			return false
		}
		arg = arg[1:]
	}
	v, err := strconv.ParseUint(arg, 16, 8)
	if err != nil || len(arg) != 1 || v > 0xC {
		return false
	}
	s.protocol, s.automatic, s.active = byte(v), automatic || v == 0, false
	s.slowest = 0
	return true
}

// protocolNames as AT DP shows them (data sheet, list of protocols).
var protocolNames = map[byte]string{
	0x1: "SAE J1850 PWM", 0x2: "SAE J1850 VPW", 0x3: "ISO 9141-2", 0x4: "ISO 14230-4 (KWP 5BAUD)", 0x5: "ISO 14230-4 (KWP FAST)",
	0x6: "ISO 15765-4 (CAN 11/500)", 0x7: "ISO 15765-4 (CAN 29/500)", 0x8: "ISO 15765-4 (CAN 11/250)", 0x9: "ISO 15765-4 (CAN 29/250)",
	0xA: "SAE J1939 (CAN 29/250)",
}

func (s *settings) describe() string {
	name := protocolNames[s.protocol]
	if u := s.user(); u != nil {
		width := 29
		if u.config&userShortID != 0 {
			width = 11
		}
		name = fmt.Sprintf("USER%d (CAN %d/%d)", s.protocol-0xA, width, s.rate()/1000)
	}
	switch {
	case !s.automatic:
		return name
	case s.protocol == 0:
		return "AUTO"
	}
	return "AUTO, " + name
}

func (s *settings) number() string {
	if s.automatic {
		return fmt.Sprintf("A%X", s.protocol)
	}
	return fmt.Sprintf("%X", s.protocol)
}

func (s *settings) user() *userProtocol {
	if s.protocol == 0xB || s.protocol == 0xC {
		return &s.users[s.protocol-0xB]
	}
	return nil
}

// rate is the bit rate of a CAN protocol, 0 for the others.
func (s *settings) rate() int {
	switch s.protocol {
	case 6, 7:
		return 500000
	case 8, 9, 0xA:
		return 250000
	}
	if u := s.user(); u != nil {
		rate := 500000 / int(u.divisor)
		if u.config&userFaster != 0 {
			rate = rate * 8 / 7
		}
		return rate
	}
	return 0
}

// wide tells whether requests have 29-bit identifiers.
func (s *settings) wide() bool {
	if u := s.user(); u != nil {
		return u.config&userShortID == 0
	}
	return slices.Contains([]byte{7, 9, 0xA}, s.protocol)
}

// formats tells whether length bytes are put in and taken out.
func (s *settings) formats() bool {
	if u := s.user(); u != nil && u.config&userFormat != 1 {
		return false
	}
	return s.format
}

// requestID is the identifier of the next request.
func (s *settings) requestID() link.ID {
	switch {
	case !s.wide() && s.header == nil:
		return link.Functional11().Request
	case !s.wide():
		return link.ID11(*s.header)
	case s.header == nil:
		return link.ID29(uint32(s.priority)<<24 | link.Functional29().Request.Value&0xFFFFFF)
	}
	return link.ID29(uint32(s.priority)<<24 | *s.header&0xFFFFFF)
}

// passes tells whether a frame is shown. Without a filter of the user's it depends on the header: 7E0 to 7E7 hear
// their own answer, every other one 7E8 to 7EF or 18DAF1xx. Monitoring without a filter shows all.
func (s *settings) passes(f can.Frame, monitoring bool) bool {
	if u := s.user(); (u == nil || u.config&userBoth == 0) && f.IsExtended != s.wide() {
		return false
	}
	own, paired := link.DefaultAnswer(s.requestID())
	switch {
	case s.filtered:
		return f.ID&s.mask == s.filter&s.mask
	case monitoring:
		return true
	case f.IsExtended:
		return f.ID&0x1FFFFF00 == 0x18DAF100
	case paired:
		return link.IDOf(f) == own
	}
	return f.ID&0x7F8 == 0x7E8
}

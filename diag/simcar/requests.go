package simcar

import (
	"bytes"
	"time"
)

// Negative response codes, ISO 14229-1 annex A.1.
const (
	nrcServiceNotSupported     = 0x11
	nrcSubFunctionNotSupported = 0x12
	nrcLength                  = 0x13
	nrcBusy                    = 0x21
	nrcOutOfRange              = 0x31
	nrcPending                 = 0x78
	nrcSubFunctionSession      = 0x7E
	nrcServiceSession          = 0x7F
)

// Timing of a module, ms (ISO 14229-2): P2 until a first answer, P2* after each 7F xx 78, S3 until a session ends
// by itself.
const (
	p2     = 50
	p2Star = 5000
	s3     = 5000
)

// Sessions, ISO 14229-1 table of DiagnosticSessionControl.
const (
	defaultSession  = 0x01
	extendedSession = 0x03
)

// suppress is the bit of a sub-function that asks for no positive answer.
const suppress = 0x80

// reply is one message of an answer, at a time after the request was complete.
type reply struct {
	after time.Duration
	data  []byte
}

// service is one kind of request: check tells the negative response code for a malformed one, act carries a
// well-formed one out. Zero is no refusal; a nil answer without one is silence.
type service struct {
	check func(m *module, req []byte) byte
	act   func(c *Car, m *module, req []byte, now time.Time) ([]byte, byte)
	sub   bool // the second byte is a sub-function with the suppress bit
}

// services are those of ISO 14229-1 that every module knows.
var services = map[byte]service{
	0x10: {checkSession, (*Car).openSession, true},
	0x14: {checkClear, (*Car).clearCodes, false},
	0x19: {checkCodes, (*Car).readCodes, true},
	0x22: {checkData, (*Car).readData, false},
	0x24: {checkScaling, (*Car).readScaling, false},
	0x3E: {checkPresent, (*Car).testerPresent, true},
}

func (m *module) service(sid byte) (service, bool) {
	first := services
	if m.spec.KWP != nil {
		first = kwpServices
	}
	if s, ok := first[sid]; ok {
		return s, true
	}
	if m.obd == nil || m.obd.spec.OnUDS {
		return service{}, false
	}
	s, ok := obdServices[sid]
	return s, ok
}

// handle answers a request to one module. functional tells that it went to all modules.
func (c *Car) handle(m *module, req []byte, functional bool) []reply {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.mischief != nil && c.on && !m.spec.Silent && len(req) > 0 {
		return c.mischief.deal(c, m, req, functional)
	}
	return c.replies(m, req, functional)
}

// replies are what a module says to a request when nothing goes wrong. c.mu is held.
func (c *Car) replies(m *module, req []byte, functional bool) []reply {
	now := time.Now()
	c.advance(now)
	if !c.on || m.spec.Silent || len(req) == 0 {
		return nil
	}
	m.stay(now)
	answer, code, silent := c.carryOut(m, req, now)
	first := millis(m.spec.Delay + m.spec.Gateway)
	switch {
	case silent:
		return nil
	case code != 0 && functional && unsaid(code):
		return nil
	case code != 0:
		return []reply{{first, []byte{0x7F, req[0], code}}}
	case answer == nil:
		return nil
	}
	work := m.spec.Work
	if req[0] == 0x14 {
		work = m.spec.ClearTime
	}
	if work <= p2 {
		return []reply{{first, answer}}
	}
	return pendingUntil(first, millis(work), req[0], answer)
}

// unsaid are the refusals that are kept back when all modules were asked (ISO 14229-1 clause 7.5).
func unsaid(code byte) bool {
	switch code {
	case nrcServiceNotSupported, nrcSubFunctionNotSupported, nrcOutOfRange, nrcSubFunctionSession, nrcServiceSession:
		return true
	}
	return false
}

// pendingUntil says 7F xx 78 at first and again before each P2* is over, until the work is done.
func pendingUntil(first, work time.Duration, sid byte, answer []byte) []reply {
	var out []reply
	for at := first; at < work; at += millis(p2Star) * 8 / 10 {
		out = append(out, reply{at, []byte{0x7F, sid, nrcPending}})
	}
	return append(out, reply{max(first, work), answer})
}

// stay keeps a session open for another S3, or ends one that nobody kept open.
func (m *module) stay(now time.Time) {
	if m.session != defaultSession && now.After(m.sessionUntil) {
		m.session = defaultSession
	}
	m.sessionUntil = now.Add(millis(s3))
}

func (c *Car) carryOut(m *module, req []byte, now time.Time) (answer []byte, code byte, silent bool) {
	s, ok := m.service(req[0])
	if !ok {
		return nil, nrcServiceNotSupported, false
	}
	if code := s.check(m, req); code != 0 {
		return nil, code, false
	}
	for _, r := range m.spec.Refuse {
		if bytes.HasPrefix(plain(s, req), r.Request) && c.inModule(m, r.While) {
			if r.NRC == nil {
				return nil, 0, true
			}
			return nil, byte(*r.NRC), false
		}
	}
	answer, code = s.act(c, m, req, now)
	if code == 0 && s.sub && req[1]&suppress != 0 {
		return nil, 0, true
	}
	return answer, code, false
}

// plain is a request without its suppress bit.
func plain(s service, req []byte) []byte {
	if !s.sub {
		return req
	}
	req = bytes.Clone(req)
	req[1] &^= suppress
	return req
}

func (c *Car) inModule(m *module, s State) bool {
	if s == DefaultSession {
		return m.session == defaultSession
	}
	return c.in(s)
}

func checkSession(_ *module, req []byte) byte {
	if len(req) != 2 {
		return nrcLength
	}
	switch req[1] &^ suppress {
	case defaultSession, extendedSession:
		return 0
	}
	return nrcSubFunctionNotSupported
}

func (c *Car) openSession(m *module, req []byte, _ time.Time) ([]byte, byte) {
	m.session = req[1] &^ suppress
	return []byte{0x50, m.session, p2 >> 8, p2 & 0xFF, p2Star / 10 >> 8, p2Star / 10 & 0xFF}, 0
}

func checkPresent(_ *module, req []byte) byte {
	switch {
	case len(req) != 2:
		return nrcLength
	case req[1]&^suppress != 0:
		return nrcSubFunctionNotSupported
	}
	return 0
}

func (c *Car) testerPresent(_ *module, _ []byte, _ time.Time) ([]byte, byte) {
	return []byte{0x7E, 0x00}, 0
}

func checkData(_ *module, req []byte) byte {
	if len(req) < 3 || len(req)%2 == 0 {
		return nrcLength
	}
	return 0
}

// readData answers with those identifiers of the request that the module has.
func (c *Car) readData(m *module, req []byte, now time.Time) ([]byte, byte) {
	out := []byte{0x62}
	for ids := req[1:]; len(ids) >= 2; ids = ids[2:] {
		if v, ok := c.value(m, uint16(ids[0])<<8|uint16(ids[1]), now); ok {
			out = append(append(out, ids[:2]...), v...)
		}
	}
	if len(out) == 1 {
		return nil, nrcOutOfRange
	}
	return out, 0
}

func (c *Car) value(m *module, id uint16, now time.Time) ([]byte, bool) {
	for _, key := range m.spec.Live {
		if n, err := identifier(key); err == nil && n == id && liveData[id] != nil {
			return liveData[id](c, m, now), true
		}
	}
	for key, v := range m.spec.Data {
		if n, err := identifier(key); err == nil && n == id {
			return v, true
		}
	}
	for key, v := range m.spec.Texts {
		if n, err := identifier(key); err == nil && n == id {
			return []byte(v), true
		}
	}
	return c.obdIdentifier(m, id, now)
}

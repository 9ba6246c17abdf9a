package simcar

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"readback/diag/link"

	"go.einride.tech/can"
)

// Validate reports the first thing in the scenario that makes no sense, with the field it is in. Load and LoadFile
// have done it already.
func (s *Scenario) Validate() error {
	switch {
	case s.Version != formVersion:
		return wrong("version", "is %d; this program reads version %d", s.Version, formVersion)
	case len(s.VIN) != 17:
		return wrong("vin", "has %d characters, not 17", len(s.VIN))
	case s.Odometer < 0 || s.Odometer > 0xFFFFFF:
		return wrong("odometer", "%d km is outside 0 to 16777215", s.Odometer)
	case s.Line != OnCAN && s.BitRate != 0:
		return wrong("bitRate", "a car without CAN has none")
	case s.Line == OnCAN && s.BitRate != 500000 && s.BitRate != 250000:
		return wrong("bitRate", "%d bit/s is neither 500000 nor 250000 (ISO 15765-4)", s.BitRate)
	case s.Misset < 0 || s.Misset > 0 && (s.Line != OnCAN || s.Misset == s.BitRate):
		return wrong("misset", "%d bit/s is no other bit rate than the bus's", s.Misset)
	case s.Supply < 0 || s.Supply > 25.5:
		return wrong("supply", "%g V is outside 0 to 25.5", s.Supply)
	case s.Outside < -40 || s.Outside > 215:
		return wrong("outside", "%d °C is outside -40 to 215", s.Outside)
	case s.OnFor < 0 || s.OnFor > 0xFFFF:
		return wrong("onFor", "%d s is outside 0 to 65535", s.OnFor)
	case s.Speed < 0 || s.Speed > 255:
		return wrong("speed", "%d km/h is outside 0 to 255", s.Speed)
	case s.Gearing < 0 || s.Gearing*s.Speed > 16383:
		return wrong("gearing", "%d makes a motor speed above 16383 1/min", s.Gearing)
	case s.Speed > 0 && !(s.On && s.Ready):
		return wrong("speed", "the car drives, but on and ready are not both set")
	case s.Engine != nil && (s.Engine.Idle < 0 || s.Engine.Idle > 16383 || s.Engine.Coolant < -40 || s.Engine.Warm > 215 || s.Engine.Warm < s.Engine.Coolant):
		return wrong("engine", "idles at 0 to 16383 1/min, and its coolant warms within -40 to 215 °C")
	case len(s.Modules) == 0:
		return wrong("modules", "there are none")
	}
	if err := s.validateLine(); err != nil {
		return err
	}
	if err := s.Adapter.validate(); err != nil {
		return err
	}
	taken := map[link.ID]string{link.Functional11().Request: "all modules", link.Functional29().Request: "all modules"}
	for _, name := range slices.Sorted(maps.Keys(s.Modules)) {
		m, at := s.Modules[name], "modules."+name
		if m == nil {
			return wrong(at, "is empty")
		}
		for i, id := range []link.ID{m.Request, m.Answer} {
			key := at + []string{".request", ".answer"}[i]
			switch other, used := taken[id]; {
			case id.IsZero():
				return wrong(key, "is missing")
			case used:
				return wrong(key, "%s is used by %s already", id, other)
			}
			taken[id] = name
		}
		if err := m.validate(at); err != nil {
			return err
		}
	}
	for i, t := range s.Traffic {
		at := fmt.Sprintf("traffic[%d]", i)
		if err := t.validate(at); err != nil {
			return err
		}
		if owner, used := taken[t.ID]; used {
			return wrong(at+".id", "%s is used by %s already", t.ID, owner)
		}
		taken[t.ID] = at
	}
	return nil
}

func wrong(field, format string, a ...any) error {
	return &fieldError{field, fmt.Errorf(format, a...)}
}

func (m *Module) validate(at string) error {
	switch {
	case m.Delay < 0 || m.Gateway < 0 || m.Delay+m.Gateway > p2:
		return wrong(at+".delay", "%d ms and %d ms through the gateway is more than the %d ms that a module has (ISO 14229-2)", m.Delay, m.Gateway, p2)
	case m.Block < 0 || m.Block > 255:
		return wrong(at+".block", "%d is outside 0 to 255", m.Block)
	case m.Room < can.MaxDataLength || m.Room > maxLength:
		return wrong(at+".room", "%d is outside 8 to %d", m.Room, maxLength)
	case m.Work < 0 || m.Work > 60000:
		return wrong(at+".work", "%d ms is outside 0 to 60000", m.Work)
	case m.ClearTime < 0 || m.ClearTime > 120000:
		return wrong(at+".clearTime", "%d ms is outside 0 to 120000", m.ClearTime)
	}
	for i, g := range m.Groups {
		if len(g) != 3 {
			return wrong(fmt.Sprintf("%s.groups[%d]", at, i), "a group has 3 bytes")
		}
	}
	for _, key := range slices.Sorted(maps.Keys(m.Texts)) {
		if _, err := identifier(key); err != nil {
			return wrong(at+".texts."+key, "%w", err)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(m.Data)) {
		if _, err := identifier(key); err != nil {
			return wrong(at+".data."+key, "%w", err)
		}
	}
	for i, key := range m.Live {
		if id, err := identifier(key); err != nil || liveData[id] == nil {
			return wrong(fmt.Sprintf("%s.live[%d]", at, i), "%q is no identifier of a live value", key)
		}
	}
	for i, r := range m.Refuse {
		at := fmt.Sprintf("%s.refuse[%d]", at, i)
		if len(r.Request) == 0 {
			return wrong(at+".request", "is empty")
		}
		if !r.While.valid(true) {
			return wrong(at+".while", "%q is no state", r.While)
		}
	}
	if err := validateCodes(at+".codes", m.Codes); err != nil {
		return err
	}
	if m.KWP != nil {
		if err := m.KWP.validate(at + ".kwp"); err != nil {
			return err
		}
	}
	if err := m.Deeper.validate(at, m.Codes); err != nil {
		return err
	}
	if m.OBD != nil {
		return m.OBD.validate(at+".obd", m.Codes)
	}
	return nil
}

func (s State) valid(session bool) bool {
	switch s {
	case Always, WhileReady, WhileMoving, WhileCharging:
		return true
	case DefaultSession:
		return session
	}
	return false
}

func (c *Code) validate(at string) error {
	switch {
	case c.After < 0 || c.Every < 0 || c.Every > 0 && c.Every < 10:
		return wrong(at+".every", "tests come every %d ms after %d ms; 10 ms apart is the least", c.Every, c.After)
	case c.Step < 0 || c.Step > 128:
		return wrong(at+".step", "%d is outside 0 to 128", c.Step)
	case c.Confirm < 0 || c.Aging < 0 || c.Aged < 0 || c.Aged > 255:
		return wrong(at+".confirm", "counters can't be negative, nor above 255")
	case c.Occurrences < 0 || c.Occurrences > 255:
		return wrong(at+".occurrences", "%d is outside 0 to 255", c.Occurrences)
	case !c.Needs.valid(false):
		return wrong(at+".needs", "%q is no state that a test can need", c.Needs)
	case len(c.Unnamed) == 1 || len(c.Unnamed) == 2:
		return wrong(at+".unnamed", "an identifier has 2 bytes, and at least one of data follows")
	}
	if err := possible(status(c.Status)); err != nil {
		return wrong(at+".status", "%02X can't be: %w", byte(c.Status), err)
	}
	last := 0
	for i, s := range c.Snapshots {
		at := fmt.Sprintf("%s.snapshots[%d]", at, i)
		switch {
		case s.Record <= last || s.Record > lastSeen:
			return wrong(at+".record", "%d: records are 1 (first time) and 2 (last time)", s.Record)
		case s.Odometer < 0 || s.Odometer > 0xFFFFFF:
			return wrong(at+".odometer", "%d km is outside 0 to 16777215", s.Odometer)
		case s.Supply < 0 || s.Supply > 25.5 || s.Outside < -40 || s.Outside > 215 || s.OnFor < 0 || s.OnFor > 0xFFFF:
			return wrong(at, "a value is out of its range")
		}
		last = s.Record
	}
	return nil
}

// possible tells why a status byte can't be, by the bit definitions of ISO 14229-1 annex D.2. Published examples leave
// other bits out, so that only plain contradictions are refused.
func possible(s status) error {
	switch {
	case s.has(failedThisCycle) && s.has(notTestedThisCycle):
		return errors.New("a test failed this operation cycle, yet none was completed")
	case s.has(notTestedSinceClear) && !s.has(notTestedThisCycle):
		return errors.New("no test was completed since the last clear, yet one this operation cycle")
	case s.has(notTestedSinceClear) && s&(testFailed|pending|confirmed|failedSinceClear|lampRequested) != 0:
		return errors.New("no test was completed since the last clear, yet there is a result")
	}
	return nil
}

func (o *OBD) validate(at string, codes map[string]*Code) error {
	switch {
	case len(o.Name) > 20:
		return wrong(at+".name", "has more than 20 characters")
	case len(o.Calibration) > 16:
		return wrong(at+".calibration", "has more than 16 characters")
	case len(o.Check) != 4:
		return wrong(at+".check", "has %d bytes, not 4", len(o.Check))
	case len(o.Readiness) != 3:
		return wrong(at+".readiness", "has %d bytes, not 3", len(o.Readiness))
	case o.Freeze.Code != "" && codes[o.Freeze.Code] == nil:
		return wrong(at+".freeze.code", "%s is no code of this module", o.Freeze.Code)
	case min(o.KmSince, o.MinSince, o.WarmUps, o.KmWithLamp) < 0 || max(o.KmSince, o.MinSince, o.KmWithLamp) > 0xFFFF || o.WarmUps > 255:
		return wrong(at, "a counter is out of its range")
	case o.Complete < 0:
		return wrong(at+".complete", "%d ms is less than 0", o.Complete)
	}
	if err := o.validateTests(at); err != nil {
		return err
	}
	for i, table := range []map[string]Hex{o.Parameters, o.Freeze.Values} {
		for _, number := range slices.Sorted(maps.Keys(table)) {
			if n, ok := parameter(number); !ok || n%0x20 == 0 || len(table[number]) == 0 {
				return wrong(at+[]string{".parameters.", ".freeze.values."}[i]+number, "is no parameter with its bytes")
			}
		}
	}
	for i, number := range o.Live {
		if n, ok := parameter(number); !ok || liveParameters[n] == nil {
			return wrong(fmt.Sprintf("%s.live[%d]", at, i), "%q is no live parameter", number)
		}
	}
	return nil
}

func (t Traffic) validate(at string) error {
	n := len(t.Data)
	at2 := func(p *int, width int) bool { return p != nil && (*p < 0 || *p+width > n) }
	switch {
	case t.ID.IsZero():
		return wrong(at+".id", "is missing")
	case t.Every < 1:
		return wrong(at+".every", "%d ms is less than 1", t.Every)
	case n > can.MaxDataLength:
		return wrong(at+".data", "has %d bytes, more than 8", n)
	case at2(t.Counter, 1) || at2(t.Speed, 2) || at2(t.Supply, 1):
		return wrong(at+".data", "is too short for the values in it")
	}
	return nil
}

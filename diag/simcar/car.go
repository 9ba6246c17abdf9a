package simcar

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"readback/diag/link"
)

// Car is a simulated car. All its methods may be called from any goroutine.
type Car struct {
	spec     *Scenario
	mischief *Mischief // nil: the car does as its scenario says

	mu       sync.Mutex
	modules  []*module // by request identifier
	on       bool
	onSince  time.Time
	ready    bool
	readyAt  time.Time
	charging bool
	speed    int     // km/h
	supply   float64 // V
}

// module is one module's memory.
type module struct {
	name     string
	spec     *Module
	troubles []*trouble // by code

	mirror   []*trouble          // of the mirror memory
	memories map[byte][]*trouble // of the maker's own
	events   int                 // failures and confirmations so far

	session      byte
	sessionUntil time.Time
	obd          *obdMemory
}

// New makes a car of a scenario that has passed Validate, as those of Load and LoadFile have. The scenario is not
// changed, and must not be changed while the car is in use.
func New(s *Scenario) *Car {
	c := &Car{spec: s, on: s.On, ready: s.Ready, charging: s.Charging, speed: s.Speed, supply: s.Supply}
	now := time.Now()
	c.onSince = now.Add(-time.Duration(s.OnFor) * time.Second)
	c.readyAt = c.onSince
	for _, name := range slices.Sorted(maps.Keys(s.Modules)) {
		m := &module{name: name, spec: s.Modules[name], session: defaultSession}
		for _, code := range slices.Sorted(maps.Keys(m.spec.Codes)) {
			if b, err := parseCode(code); err == nil {
				m.troubles = append(m.troubles, newTrouble(b, m.spec.Codes[code]))
			}
		}
		slices.SortFunc(m.troubles, func(a, b *trouble) int { return bytes.Compare(a.code[:], b.code[:]) })
		m.recall()
		m.begin()
		if m.spec.OBD != nil {
			m.obd = newOBDMemory(m, now)
		}
		c.modules = append(c.modules, m)
	}
	slices.SortFunc(c.modules, func(a, b *module) int { return int(a.spec.Request.Value) - int(b.spec.Request.Value) })
	for _, t := range c.all() {
		if !c.on || !c.in(t.spec.Needs) {
			continue
		}
		switch {
		case t.spec.Every > 0: // tests have run since the car was switched on; the next is in one interval
			t.next = now.Add(millis(t.spec.Every))
		case t.status.has(notTestedThisCycle):
			t.next = now.Add(millis(t.spec.After))
		}
	}
	return c
}

func millis(n int) time.Duration { return time.Duration(n) * time.Millisecond }

// all are the trouble memories of all modules.
func (c *Car) all() []*trouble {
	var all []*trouble
	for _, m := range c.modules {
		all = append(all, m.troubles...)
	}
	return all
}

// in tells whether the car is in a state now. The session of a module is no state of the car.
func (c *Car) in(s State) bool {
	switch s {
	case WhileReady:
		return c.on && c.ready
	case WhileMoving:
		return c.on && c.speed > 0
	case WhileCharging:
		return c.charging
	}
	return true
}

// Supplies between which modules judge faults at all, in V: common practice, figures differ by maker.
const (
	lowestJudged  = 9
	highestJudged = 16
)

// advance lets all tests run that were due until now.
func (c *Car) advance(now time.Time) {
	if !c.on {
		return
	}
	for _, m := range c.modules {
		for _, t := range m.troubles {
			c.advanceOne(m, t, now)
		}
	}
}

// enough is how many equal results in a row leave nothing more to change, with the smallest step of the counter.
const enough = 256

func (c *Car) advanceOne(m *module, t *trouble, now time.Time) {
	for runs := 0; !t.next.IsZero() && !t.next.After(now); runs++ {
		at := t.next
		every := millis(t.spec.Every)
		switch {
		case every == 0:
			t.next = time.Time{}
		case runs < enough:
			t.next = at.Add(every)
		default:
			t.next = now.Add(every)
		}
		if c.in(t.spec.Needs) && c.supply >= lowestJudged && c.supply <= highestJudged {
			was := t.status
			t.test(c.noteAt(at))
			m.tested(t, was)
			if m.obd != nil && t.spec.OBD && !was.has(confirmed) && t.status.has(confirmed) {
				m.obd.freeze(c, t, at)
			}
		}
	}
}

// noteAt is what a module notes of the car's state.
func (c *Car) noteAt(at time.Time) note {
	return note{c.spec.Odometer, c.supply, c.spec.Outside, c.secondsOn(at)}
}

// secondsOn is how long the ignition has been on, up to what two bytes hold.
func (c *Car) secondsOn(at time.Time) int { return seconds(at.Sub(c.onSince)) }

func seconds(d time.Duration) int { return min(0xFFFF, int(d/time.Second)) }

// plan plans the first test of those codes whose state has just begun.
func (c *Car) plan(now time.Time, begun State) {
	for _, t := range c.all() {
		if t.spec.Needs == begun && c.in(begun) {
			t.next = now.Add(millis(t.spec.After))
		}
	}
}

// change brings the car up to now and then changes it; begun is the state that the change may begin.
func (c *Car) change(begun State, apply func(now time.Time)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	c.advance(now)
	was := c.in(begun)
	apply(now)
	if c.on && !was {
		c.plan(now, begun)
	}
}

// Supply is the voltage at pin 16 of the socket now, in V.
func (c *Car) Supply() float64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.supply
}

// SetSupply sets the 12 V supply, in V from 0 to 25.5.
func (c *Car) SetSupply(volts float64) {
	c.change(Always, func(time.Time) { c.supply = min(25.5, max(0, volts)) })
}

// SetSpeed drives the car at a speed in km/h from 0 to 255. A speed above 0 puts the drive on. With the ignition off
// nothing happens.
func (c *Car) SetSpeed(kmh int) {
	if kmh > 0 {
		c.SetReady(true)
	}
	c.change(WhileMoving, func(time.Time) {
		if c.on {
			c.speed = min(255, max(0, kmh))
		}
	})
}

// SetReady puts the drive on or off. Without the drive the car stands. With the ignition off nothing happens.
func (c *Car) SetReady(ready bool) {
	c.change(WhileReady, func(now time.Time) {
		if !c.ready {
			c.readyAt = now
		}
		c.ready = ready && c.on
		if !ready {
			c.speed = 0
		}
	})
}

// SetCharging plugs the charger in or out.
func (c *Car) SetCharging(charging bool) {
	c.change(WhileCharging, func(time.Time) { c.charging = charging })
}

// Switch turns the ignition on or off. Switching off ends the operation cycle of every code and silences all
// modules; switching on begins the next. Switching to where it is already changes nothing.
func (c *Car) Switch(on bool) {
	c.change(Always, func(now time.Time) {
		if on == c.on {
			return
		}
		c.on = on
		if !on {
			c.ready, c.speed = false, 0
			for _, t := range c.all() {
				t.endCycle()
			}
			return
		}
		c.onSince = now
		for _, m := range c.modules {
			m.session = defaultSession
		}
		for _, t := range c.all() {
			t.beginCycle()
			if c.in(t.spec.Needs) {
				t.next = now.Add(millis(t.spec.After))
			}
		}
	})
}

// On tells whether the ignition is on. While it is off nobody answers and nobody sends.
func (c *Car) On() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.on
}

// SetFault puts a fault into the car or takes it out: the next test of that code will find it. The module is the
// scenario's key, the code as in P1D5A-13.
func (c *Car) SetFault(module, code string, present bool) error {
	b, err := parseCode(code)
	if err != nil {
		return fmt.Errorf("simcar: set fault: %w", err)
	}
	for _, m := range c.modules {
		for _, t := range m.troubles {
			if m.name == module && t.code == b {
				c.change(Always, func(time.Time) { t.present = present })
				return nil
			}
		}
	}
	return fmt.Errorf("simcar: set fault: module %q has no code %s", module, code)
}

// identifier reads the number of a data identifier, as in F190.
func identifier(s string) (uint16, error) {
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != 2 {
		return 0, fmt.Errorf("%q is no identifier, as in F190", s)
	}
	return uint16(b[0])<<8 | uint16(b[1]), nil
}

// liveData are the identifiers of values that the car has now. F186 and F190 are those of ISO 14229-1 annex C; the
// others are invented, as the odometer (3 bytes, km), the supply (1 byte, 0.1 V), the temperature outside (1 byte,
// °C + 40) and the time since switching on (2 bytes, s).
var liveData = map[uint16]func(c *Car, m *module, now time.Time) []byte{
	0xF186: func(_ *Car, m *module, _ time.Time) []byte { return []byte{m.session} },
	0xF190: func(c *Car, _ *module, _ time.Time) []byte { return []byte(c.spec.VIN) },
	0xDD00: func(c *Car, _ *module, now time.Time) []byte { return c.noteAt(now).odometerBytes() },
	0xDD01: func(c *Car, _ *module, now time.Time) []byte { return []byte{c.noteAt(now).supplyByte()} },
	0xDD02: func(c *Car, _ *module, now time.Time) []byte { return []byte{c.noteAt(now).outsideByte()} },
	0xDD03: func(c *Car, _ *module, now time.Time) []byte { return c.noteAt(now).onForBytes() },
}

func (n note) odometerBytes() []byte {
	return []byte{byte(n.odometer >> 16), byte(n.odometer >> 8), byte(n.odometer)}
}

func (n note) supplyByte() byte   { return byte(n.supply*10 + 0.5) }
func (n note) outsideByte() byte  { return byte(n.outside + 40) }
func (n note) onForBytes() []byte { return []byte{byte(n.onFor >> 8), byte(n.onFor)} }

// functionalID is the identifier that reaches all modules of a width (ISO 15765-4).
func functionalID(request link.ID) link.ID {
	if request.Extended {
		return link.Functional29().Request
	}
	return link.Functional11().Request
}

package gate

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"readback/diag/explain"
	"readback/diag/link"
)

// The gate against a second, smaller model of it: random sequences of what happens at a car, in fake time. A permit is
// given exactly when the model says that every latch is in line at that moment. The model keeps times and whole
// hundredths of a volt, and knows nothing of latches, sources or sentences.
type model struct {
	now                                   time.Duration
	speed, motor, run, charge             known
	volts                                 known // in hundredths
	trail                                 []known
	said                                  map[Key]time.Duration
	record                                known // 1 when complete
	safetyRead, safetyNow, toSafetyModule bool
	acknowledged                          known
	words, all                            bool
}

// known is a value and when it was taken.
type known struct {
	is bool
	v  int
	at time.Duration
}

func (m *model) within(at, life time.Duration) bool {
	return m.now-at <= life && m.now-at >= -time.Second
}

func (m *model) saidSo(k Key) bool {
	at, ok := m.said[k]
	return ok && m.within(at, 5*time.Minute)
}

func (m *model) zero(k known, latch Key) bool {
	if !k.is {
		return m.saidSo(latch)
	}
	return k.v == 0 && m.within(k.at, 10*time.Second)
}

func (m *model) driveOff() bool {
	switch {
	case !m.motor.is && !m.run.is:
		return m.saidSo(DriveOff)
	case m.motor.is && m.run.is:
		return m.zero(m.motor, DriveOff) && m.zero(m.run, DriveOff)
	case m.motor.is:
		return m.zero(m.motor, DriveOff)
	}
	return m.zero(m.run, DriveOff)
}

func (m *model) sagging() bool {
	trail := m.trail
	if m.volts.is {
		trail = append(append([]known(nil), trail...), m.volts)
	}
	for i, a := range trail {
		if !m.within(a.at, 5*time.Minute) {
			continue
		}
		if a.v < 1150 {
			return true
		}
		for _, b := range trail[i:] {
			if m.within(b.at, 5*time.Minute) && a.v-b.v > 50 {
				return true
			}
		}
	}
	return false
}

func (m *model) supply() bool {
	if m.sagging() {
		return false
	}
	if !m.volts.is {
		return m.saidSo(SupplyGood)
	}
	fresh := m.within(m.volts.at, 10*time.Second)
	v := m.volts.v
	switch {
	case !fresh || v < 1220 || v >= 1480:
		return false
	case v < 1240:
		return m.saidSo(SupplyGood)
	case v < 1320:
		return true
	}
	return m.saidSo(SupplyGood) || m.driveOff() && m.zero(m.charge, NotCharging)
}

func (m *model) safety() bool {
	switch {
	case !m.safetyRead:
		return false
	case !m.safetyNow:
		return true
	case m.all || m.toSafetyModule:
		return false
	}
	return m.acknowledged.is && m.within(m.acknowledged.at, 5*time.Minute) && !(m.record.is && m.acknowledged.at < m.record.at)
}

func (m *model) passes() bool {
	return m.zero(m.speed, Standing) && m.driveOff() && m.supply() && m.zero(m.charge, NotCharging) &&
		m.record.is && m.record.v == 1 && m.within(m.record.at, 5*time.Minute) && m.safety() && m.words && (!m.all || m.saidSo(Reach))
}

// state is the same as the gate is told it.
func (m *model) state() State {
	read := func(k known, unit float64) *Reading {
		if !k.is {
			return nil
		}
		return &Reading{Value: float64(k.v) / unit, At: t0.Add(k.at), Source: FromCar}
	}
	s := State{Speed: read(m.speed, 1), Motor: read(m.motor, 1), RunTime: read(m.run, 1), Charging: read(m.charge, 1), Supply: read(m.volts, 100),
		Said: map[Key]time.Time{}, Safety: SafetyFacts{Read: m.safetyRead}, Reaches: []string{"Charging", "Brakes"}}
	for _, k := range m.trail {
		s.Supplies = append(s.Supplies, *read(k, 100))
	}
	for k, at := range m.said {
		s.Said[k] = t0.Add(at)
	}
	if m.record.is {
		s.Record = &RecordFacts{At: t0.Add(m.record.at), Complete: m.record.v == 1}
	}
	if m.safetyNow {
		s.Safety.Now = []string{"Brakes C0034-12"}
	}
	if m.toSafetyModule {
		s.Safety.Target = "Brakes"
	}
	if m.acknowledged.is {
		s.Safety.Acknowledged = t0.Add(m.acknowledged.at)
	}
	return s
}

// happen changes one thing, most often to what lets a change pass.
func (m *model) happen(r *rand.Rand) string {
	mostly := func(good int, bad ...int) int {
		if r.IntN(6) > 0 {
			return good
		}
		return bad[r.IntN(len(bad))]
	}
	measure := func(k *known, v int) string {
		*k = known{r.IntN(8) > 0, v, m.now}
		return fmt.Sprint(*k)
	}
	keys := []Key{Standing, DriveOff, SupplyGood, NotCharging, Reach, RecordSaved, SafetyRead, SaidBack}
	switch r.IntN(13) {
	case 0:
		return "speed " + measure(&m.speed, mostly(0, 1, 50))
	case 1:
		return "motor " + measure(&m.motor, mostly(0, 800))
	case 2:
		return "run time " + measure(&m.run, mostly(0, 1))
	case 3:
		return "charging " + measure(&m.charge, mostly(0, 1))
	case 4, 5:
		if m.volts.is {
			m.trail = append(m.trail, m.volts)
		}
		return "supply " + measure(&m.volts, mostly(1270, 1149, 1150, 1219, 1220, 1239, 1240, 1300, 1319, 1320, 1440, 1479, 1480, 1500, 1501))
	case 6, 7:
		k := keys[r.IntN(len(keys))]
		m.said[k] = m.now
		return "said " + string(k)
	case 8:
		m.record = known{r.IntN(10) > 0, mostly(1, 0), m.now}
		m.safetyRead, m.safetyNow = r.IntN(10) > 0, r.IntN(3) == 0
		return fmt.Sprint("read ", m.record, m.safetyRead, m.safetyNow)
	case 9:
		m.acknowledged = known{true, 1, m.now}
		return "acknowledged"
	case 10:
		m.words = r.IntN(5) > 0
		return fmt.Sprint("words ", m.words)
	case 11:
		m.all, m.toSafetyModule = r.IntN(4) == 0, r.IntN(6) == 0
		return fmt.Sprint("all ", m.all, ", to a safety module ", m.toSafetyModule)
	}
	step := []time.Duration{time.Nanosecond, 900 * time.Millisecond, 3 * time.Second, 10 * time.Second, time.Minute, 5 * time.Minute, 5*time.Minute + 1, -500 * time.Millisecond}[r.IntN(8)]
	m.now += step
	return "time " + step.String()
}

// settle makes everything good at this moment but what a throw of the dice leaves out, so that permits are not rare.
func (m *model) settle(r *rand.Rand) string {
	left := r.IntN(24)
	m.speed, m.motor, m.run, m.charge = known{true, 0, m.now}, known{true, 0, m.now}, known{true, 0, m.now}, known{true, 0, m.now}
	m.volts, m.trail, m.record = known{true, 1270, m.now}, nil, known{true, 1, m.now}
	m.safetyRead, m.safetyNow, m.words, m.all, m.toSafetyModule = true, false, true, false, false
	for i, k := range []*known{&m.speed, &m.motor, &m.run, &m.charge, &m.volts, &m.record} {
		if i == left {
			k.at -= 5*time.Minute + time.Second
		}
	}
	return fmt.Sprint("all set but ", left)
}

func TestGateAgainstModel(t *testing.T) {
	frames := map[bool]Proposal{}
	for all, id := range map[bool]link.ID{false: link.ID11(0x7E5), true: link.ID11(0x7DF)} {
		m, _ := clearing()
		if m.Address = link.Physical(id, link.ID11(0x7ED)); all {
			m.Address = link.Functional11()
		}
		frames[all] = Proposal{Message: m, Explanation: explain.ExplainFrame(id, m.Exact, explain.Options{})}
	}
	given, refused := 0, 0
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 12))
		m := &model{said: map[Key]time.Duration{}}
		var story []string
		for range 150 {
			if r.IntN(12) == 0 {
				story = append(story, m.settle(r))
			} else {
				story = append(story, m.happen(r))
			}
			w := &wire{}
			g := New(w, Options{})
			p := frames[m.all]
			if p.State = m.state(); m.words {
				p.Words = p.Explanation.Words[0]
			}
			now := t0.Add(m.now)
			permit, err := g.Permit(p, now)
			if got := permit != nil; got != m.passes() || got != (err == nil) {
				t.Fatalf("seed %d: permit %v (%v), the model says %v\n%+v\n%v", seed, got, err, m.passes(), m, story)
			}
			for _, l := range Line(p.Explanation, p.State, p.Words, now) {
				if permit != nil && !l.InLine {
					t.Fatalf("seed %d: a permit although a latch is not in line: %+v", seed, l)
				}
			}
			if permit == nil {
				refused++
				continue
			}
			given++
			if err := g.Pass(ctx, permit, p.Message, now); err != nil || len(w.sent) != 1 {
				t.Fatalf("seed %d: %v, %d sent", seed, err, len(w.sent))
			}
		}
	}
	t.Logf("%d permits given, %d refused", given, refused)
	if given < 2000 || refused < 2000 {
		t.Errorf("%d permits given, %d refused: the test tested half of what it says", given, refused)
	}
}

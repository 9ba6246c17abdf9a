package diag_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/bus"
	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
	"readback/diag/simcar"
)

// thorough makes the mischief go on for 10,000 visits.
const thorough = "READBACK_THOROUGH"

// mischiefCar is a car of four modules, of both identifier widths, none of whose tests runs again by itself.
const mischiefCar = `{"version": 1, "base": "courier", "modules": {"gateway": null, "battery": null, "body": null, "steering": null,
	"airbag": null, "panel": null, "climate": null,
	"charging": {"clearTime": 300, "codes": {"P1D5A-13": {"every": 0}}}}}`

// togetherTrue is how many lists a car has to falsify before a fault that it holds may look gone: one alone is noticed.
const togetherTrue = 2

// mostExcused is the share of faults called gone, in percent, that may go unchecked because so many lists were falsified.
const mostExcused = 3

// patience is the fake time in which a visit must have ended, however badly the car behaves.
const patience = 3 * time.Hour

// ordeal is one visit to a car that plays pranks.
type ordeal struct {
	seed   uint64
	random *rand.Rand
	car    *simcar.Car
	tricks *simcar.Mischief
	serial bool
	late   bool          // it behaves until the adapter is open
	pulled time.Duration // after which the adapter is pulled; 0: it is not
	said   map[byte]int  // services of the frames on the bus that ask for something, raw only
	mu     sync.Mutex
	tally  *visits
	sends  int // that left, or may have left
}

// visits counts what came of many.
type visits struct {
	opened, looked, complete, sent, accepted, readBack, refused, pulled int
	gone, excused, misled                                               int // faults; of them unchecked; of these really held
	compared, doubtful                                                  int // lists that were compared, and that were not
	longest                                                             time.Duration
}

func (o *ordeal) Schemes() []string                             { return []string{"bad"} }
func (o *ordeal) Find(context.Context) ([]adapter.Found, error) { return nil, nil }

// Open joins the car to the visit: by frames, or through a serial adapter.
func (o *ordeal) Open(ctx context.Context, p adapter.Place, opt adapter.Options) (adapter.Connection, error) {
	if !o.late {
		o.tricks.Wake()
	}
	run, stop := context.WithCancel(context.Background())
	h := &held{stop: stop}
	if !o.serial {
		tester, cars := bus.Pair()
		h.served.Go(func() { _ = o.car.Serve(run, cars) }) // it ends with the bus
		o.pullAfter(h, func() { tester.Close() })
		o.tricks.Wake()
		return &badFrames{h, &countingBus{tester, o}}, nil
	}
	mine, theirs := net.Pipe()
	h.served.Go(func() { _ = o.car.ServeSerial(run, theirs, simcar.SerialOptions{BitRate: lineSpeed}) }) // it ends with the pipe
	o.pullAfter(h, func() { theirs.Close() })
	c, err := elm.Open(ctx, mine, elm.Options{Place: p, Name: "Pipe", Tap: opt.Tap})
	if err != nil {
		h.end()
		return nil, err
	}
	o.tricks.Wake()
	return &badMessages{c, h}, nil
}

func (o *ordeal) pullAfter(h *held, pull func()) {
	if o.pulled > 0 {
		h.pull = time.AfterFunc(o.pulled, pull)
	}
}

// held is the other end of a connection.
type held struct {
	stop   context.CancelFunc
	served sync.WaitGroup
	pull   *time.Timer
}

func (h *held) end() {
	if h.pull != nil {
		h.pull.Stop()
	}
	h.stop()
	h.served.Wait()
}

type badFrames struct {
	*held
	bus *countingBus
}

func (c *badFrames) Bus() bus.Bus { return c.bus }
func (c *badFrames) Abilities() adapter.Abilities {
	return adapter.Abilities{Name: "Bad", Practice: true, Raw: true, Parallel: 8, Exact: true, Wide: true, BitRate: 500000}
}
func (c *badFrames) SupplyVolts(context.Context) (float64, error) { return 12.6, nil }
func (c *badFrames) Close() error {
	err := c.bus.Close()
	c.end()
	return err
}

type badMessages struct {
	*elm.Adapter
	*held
}

func (c *badMessages) Abilities() adapter.Abilities {
	a := c.Adapter.Abilities()
	a.Practice = true
	return a
}

func (c *badMessages) Close() error {
	err := c.Adapter.Close()
	c.end()
	return err
}

// countingBus counts what is asked on it.
type countingBus struct {
	bus.Bus
	o *ordeal
}

func (b *countingBus) Send(ctx context.Context, f can.Frame) error {
	b.o.mu.Lock()
	switch f.Data[0] >> 4 {
	case 0:
		b.o.said[f.Data[1]]++
	case 1:
		b.o.said[f.Data[2]]++
	}
	b.o.mu.Unlock()
	return b.Bus.Send(ctx, f)
}

// harmless are the services that only ask: SAE J1979 01 to 03, 06, 07, 09 and 0A, of ISO 14230-3 and ISO 14229-1 those
// that read, and "tester present".
var harmless = []byte{0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A, 0x12, 0x13, 0x17, 0x18, 0x19, 0x1A, 0x21, 0x22, 0x24, 0x3E}

const clearing = 0x14

// TestMischief visits cars that answer with torn, late, doubled, interleaved, oversized, replayed and lying messages, and
// under wrong identifiers, by raw frames and through a serial adapter. Whatever the car does: the visit ends, nothing of it
// stays behind, nothing is called gone that the car holds, and a change goes out once for each time that the gate let it.
func TestMischief(t *testing.T) {
	number := 400
	switch {
	case os.Getenv(thorough) != "":
		number = 10000
	case raceOn:
		number = 40
	}
	var sum visits
	const together = 40
	for first := 0; first < number; first += together {
		t.Run(fmt.Sprint(first), func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "readback.db")
			synctest.Test(t, func(t *testing.T) {
				s, err := garage.Open(t.Context(), path)
				if err != nil {
					t.Fatal(err)
				}
				defer s.Close()
				for n := range together {
					seed := uint64(first + n)
					ordealOf(t, seed, &sum).run(t, s)
				}
			})
		})
	}
	t.Logf("%d visits: %+v", number, sum)
	if sum.excused*100 > sum.gone*mostExcused {
		t.Errorf("too many faults were called gone unchecked: %+v", sum)
	}
	if sum.sent < number/10 || sum.gone < number/10 || sum.compared < number/2 {
		t.Errorf("too little came of it to prove anything: %+v", sum)
	}
}

func ordealOf(t *testing.T, seed uint64, tally *visits) *ordeal {
	t.Helper()
	file := filepath.Join(t.TempDir(), "car.json")
	if err := os.WriteFile(file, []byte(mischiefCar), 0o600); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(seed, 0))
	rates := []float64{0.003, 0.02, 0.1, 0.5}
	pranks := simcar.AllPranks
	switch r.IntN(4) {
	case 0: // a single one
		pranks = 1 << r.IntN(8)
	case 1: // some
		pranks &= simcar.Prank(r.Uint32())
	}
	o := &ordeal{seed: seed, random: r, said: map[byte]int{}, tally: tally,
		tricks: simcar.NewMischief(seed, pranks, rates[r.IntN(len(rates))]), serial: r.IntN(3) == 0, late: r.IntN(4) != 0}
	if r.IntN(8) == 0 {
		o.pulled = time.Duration(r.IntN(60000)) * time.Millisecond
	}
	if r.IntN(6) == 0 { // cars of other services, on CAN and on older lines
		file = []string{"runner", "runner-uds", "drover", "pony"}[r.IntN(4)]
	}
	s := scenario(t, file)
	o.serial = o.serial || s.BitRate == 0
	o.car = simcar.New(s)
	o.car.Suffer(o.tricks)
	return o
}

// run is a whole visit: open, look, plan a change, send, read back, close.
func (o *ordeal) run(t *testing.T, s *garage.Store) {
	before, _ := inBubble()
	begun := time.Now()
	hang := time.AfterFunc(patience, func() {
		_, stacks := inBubble()
		panic(fmt.Sprintf("visit %d has not ended:\n%s", o.seed, stacks))
	})
	o.visit(t, s)
	hang.Stop()
	o.tally.longest = max(o.tally.longest, time.Since(begun))
	synctest.Wait()
	if after, stacks := inBubble(); after > before {
		t.Errorf("visit %d left %d goroutines behind:\n%s", o.seed, after-before, stacks)
	}
	o.count(t)
}

// inBubble counts the goroutines of bubbles, and tells what all goroutines do.
func inBubble() (int, string) {
	stacks := make([]byte, 1<<18)
	text := string(stacks[:runtime.Stack(stacks, true)])
	return strings.Count(text, ", synctest bubble "), text
}

func (o *ordeal) visit(t *testing.T, s *garage.Store) {
	v, err := diag.Open(t.Context(), diag.Options{Place: "bad:", Drivers: []adapter.Driver{o}, Store: s})
	if err != nil {
		o.sentence(t, err)
		return
	}
	defer v.Close()
	o.tally.opened++
	from := o.tricksSoFar()
	for _, err := range v.Look(t.Context(), "") {
		if err != nil {
			o.sentence(t, err)
		}
	}
	record, ok := v.Record()
	if !ok {
		return
	}
	o.tally.looked++
	if record.Complete {
		o.tally.complete++
	}
	o.shows(t, record, from)
	for range 1 + o.random.IntN(2) {
		o.change(t, v)
	}
}

func (o *ordeal) tricksSoFar() int { return len(o.tricks.Asked()) }

// sentence: there is one for every error, and it is never empty.
func (o *ordeal) sentence(t *testing.T, err error) {
	t.Helper()
	if errors.Is(err, bus.ErrGone) || errors.Is(err, link.ErrGone) || errors.Is(err, bus.ErrClosed) {
		o.tally.pulled++
	}
	if strings.TrimSpace(diag.Sentence(err)) == "" {
		t.Errorf("visit %d: no sentence for %v", o.seed, err)
	}
}

// change plans a change and sends it, now and then with a wrong word, which must hold it back.
func (o *ordeal) change(t *testing.T, v *diag.Visit) {
	e := v.Explain(clearCharging, "")
	words := strings.Join(e.Words[:], " ")
	wrong := o.random.IntN(6) == 0
	if wrong {
		words = "wrong"
	}
	v.Say(gate.NotCharging)
	v.Say(gate.SafetyRead)
	v.Say(gate.Standing)
	v.Say(gate.DriveOff)
	v.SayBack(words)
	before, _ := v.Record()
	from := o.tricksSoFar()
	for _, err := range v.Send(t.Context(), e) {
		if err != nil {
			o.sentence(t, err)
		}
	}
	r := v.Result()
	if wrong && r.Sent {
		t.Errorf("visit %d: a change left with a wrong word", o.seed)
	}
	if r.Sent || r.Outcome == garage.Unknown {
		o.sends++
		o.tally.sent++
	} else {
		o.tally.refused++
	}
	if r.Outcome == garage.Accepted {
		o.tally.accepted++
	}
	if r.ReadBack == nil {
		return
	}
	o.tally.readBack++
	after, _ := v.Record()
	o.shows(t, after, from)
	for _, f := range r.ReadBack.Gone {
		o.tally.gone++
		for _, m := range before.Modules {
			if m.Name != f.Module {
				continue
			}
			held := o.holds(m.Request, f.Code, from)
			if o.hidden(m.Request, f.Code, from) >= togetherTrue {
				o.tally.excused++
				if held {
					o.tally.misled++
				}
			} else if held {
				t.Errorf("visit %d: %s %s is called gone, and the car holds it", o.seed, f.Module, f.Code)
			}
		}
	}
}

// holds tells whether a module held a fault each time when it was asked for its codes, since some request.
func (o *ordeal) holds(request link.ID, code string, from int) bool {
	held, asked := 0, 0
	for _, a := range o.tricks.Asked()[from:] {
		if a.Module != request || a.Request[0] != 0x19 {
			continue
		}
		asked++
		for raw, status := range a.Held {
			if dtc.From3(raw[0], raw[1], raw[2]).String() == code && status&^0x50 != 0 {
				held++
			}
		}
	}
	return asked > 0 && held == asked
}

// listing tells whether a request asks a module for its codes by their status (19 02, ISO 14229-1 clause 12.3).
func listing(a simcar.Asked, module link.ID) bool {
	return a.Module == module && a.Request[0] == 0x19 && len(a.Request) == 3
}

// hidden counts the lists, since some request, that may have been falsified so that they are without a fault.
func (o *ordeal) hidden(request link.ID, code string, from int) (n int) {
	for _, a := range o.tricks.Asked()[from:] {
		if listing(a, request) && (a.Garbled || slices.ContainsFunc(a.Untrue, func(told []byte) bool { return !tells(told, code) })) {
			n++
		}
	}
	return n
}

// tells reports a list of codes by their status in which a code stands as a fault.
func tells(list []byte, code string) bool {
	if len(list) < 3 || list[0] != 0x59 || list[1] != 0x02 {
		return false
	}
	for b := list[3:]; len(b) >= 4; b = b[4:] {
		if dtc.From3(b[0], b[1], b[2]).String() == code && b[3]&list[2]&^0x50 != 0 {
			return true
		}
	}
	return false
}

// shows compares a record with what the car held while it was read: each module's codes must be those that it held at one
// of the moments when it was asked.
func (o *ordeal) shows(t *testing.T, r garage.Visit, from int) {
	for _, m := range r.Modules {
		if m.CodesRead != garage.Yes || m.Protocol != "UDS" {
			continue
		}
		if slices.ContainsFunc(o.tricks.Asked(), func(a simcar.Asked) bool { return listing(a, m.Request) && a.Doubtful() }) {
			o.tally.doubtful++
			continue
		}
		got := map[[3]byte]byte{}
		for _, c := range m.Codes {
			got[[3]byte(c.Raw)] = byte(*c.Status)
		}
		o.tally.compared++
		var seen []string
		for _, a := range o.tricks.Asked() {
			if listing(a, m.Request) {
				seen = append(seen, text(listed(a)))
			}
		}
		if !slices.Contains(seen, text(got)) {
			t.Errorf("visit %d (serial %t): %s shows %s, and held %s", o.seed, o.serial, m.Request, text(got), seen)
		}
	}
}

// listed are the codes that match the mask of a request for them.
func listed(a simcar.Asked) map[[3]byte]byte {
	out := map[[3]byte]byte{}
	for code, status := range a.Held {
		if status&a.Request[2] != 0 {
			out[code] = status
		}
	}
	return out
}

func text(codes map[[3]byte]byte) string { return fmt.Sprintf("%X", codes) }

// count: the bus saw each change as often as the gate let one go, and nothing else that is more than a question.
func (o *ordeal) count(t *testing.T) {
	taken := 0
	for _, a := range o.tricks.Asked() {
		switch {
		case a.Request[0] == clearing:
			taken++
		case !slices.Contains(harmless, a.Request[0]):
			t.Errorf("visit %d: %s was asked % X", o.seed, a.Module, a.Request)
		}
	}
	if taken > o.sends {
		t.Errorf("visit %d: the change was taken %d times, and sent %d times", o.seed, taken, o.sends)
	}
	if o.serial {
		return
	}
	for service, n := range o.said {
		switch {
		case service == clearing && n != o.sends:
			t.Errorf("visit %d: the change went out %d times, and was sent %d times", o.seed, n, o.sends)
		case service != clearing && !slices.Contains(harmless, service):
			t.Errorf("visit %d: service %02X went out %d times", o.seed, service, n)
		}
	}
}

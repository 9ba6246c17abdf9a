package diag

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/explain"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/trace"
	"readback/diag/uds"
)

// Visit is one visit to one car, from opening the adapter to closing it. Its methods may be called from several
// goroutines; Look and Send run one at a time.
type Visit struct {
	opt    Options
	conn   adapter.Connection
	record *trace.Recorder
	gate   *gate.Gate
	router *link.Router
	line   *lineLog    // nil on raw CAN
	meter  *busMeter   // nil where the adapter carries messages
	frames *isotp.Link // the same

	busy sync.Mutex // held by Look and Send

	mu       sync.Mutex // guards what follows
	car      garage.Car
	last     *garage.Visit
	heard    map[link.ID]bool
	state    gate.State
	words    string
	result   *Result
	source   *source // of live values; nil while none is known
	number   string  // identification number that was told when all modules were asked
	timing   Timing  // of the last look
	unread   bool    // an answer to the question which modules there are arrived damaged, each time
	recorded bool    // the conversation is kept beside the logbook
}

// Open opens the adapter at o.Place and puts the rooms together. The error is an [*adapter.OpenError] where a rung
// of the link test failed.
func Open(ctx context.Context, o Options) (*Visit, error) {
	if o.Ahead != 0 && !strings.HasPrefix(string(o.Place), "practice:") {
		return nil, ErrCalendar
	}
	if len(o.Identifiers) > maxIdentifiers {
		return nil, ErrManyIdentifiers
	}
	v := &Visit{opt: o, record: trace.NewRecorder(time.Now).InWords(Sentence), heard: map[link.ID]bool{}}
	conn, err := adapter.Open(ctx, o.Drivers, o.Place, adapter.Options{Tap: v.record, Tell: o.Tell})
	if err != nil {
		return nil, err
	}
	v.conn = conn
	v.gate, err = v.wire(conn)
	if err != nil {
		return nil, joinClose(err, conn)
	}
	v.router = link.NewRouter(v.gate)
	return v, nil
}

func joinClose(err error, conn adapter.Connection) error {
	if e := conn.Close(); e != nil {
		return fmt.Errorf("%w (closing the adapter: %w)", err, e)
	}
	return err
}

// wire fixes the order of the rooms between the adapter and the gate.
func (v *Visit) wire(conn adapter.Connection) (*gate.Gate, error) {
	var l link.Link
	switch c := conn.(type) {
	case adapter.Frames:
		rate, _ := bitRate(conn.Abilities())
		budget := bus.NewBudget(rate, share)
		v.meter = newBusMeter(trace.WrapBus(c.Bus(), v.record), conn)
		v.frames = isotp.New(&countedBus{v.meter, budget}, isotp.Options{Pad: isotp.PadLearnt, TellBegun: true})
		l = v.frames
		l = newPacedLink(trace.WrapLink(l, v.record), budget)
	case adapter.Messages:
		v.line = &lineLog{inner: trace.WrapLink(c.Link(), v.record)}
		l = v.line
	default:
		return nil, fmt.Errorf("diag: adapter %q carries neither frames nor messages", conn.Abilities().Name)
	}
	return gate.New(l, gate.Options{Identifiers: v.opt.Identifiers, Hold: v.held}), nil
}

// told is what a client adds to its waits for the further frames of a long answer where the transport tells that it has
// begun: nothing but a turn of the scheduler.
const told = time.Millisecond

// client and parameters are the only places that build a client; both stand on the gate.
func (v *Visit) client(l link.Link, a link.Address) *uds.Client {
	o := uds.Options{Transfer: told}
	if !v.conn.Abilities().Raw {
		o = uds.Options{Slack: adapterWithin}
	}
	return uds.New(l, a, o)
}

func (v *Visit) parameters(p link.Link, a link.Address) *obd.Client {
	o := obd.Options{Transfer: told}
	if !v.conn.Abilities().Raw {
		o = obd.Options{Slack: adapterWithin}
	}
	return obd.New(p, a, o)
}

// Close ends the visit, closes the adapter, and keeps what was said beside the logbook. It may be called more than once.
func (v *Visit) Close() error {
	return errors.Join(v.router.Close(), v.conn.Close(), v.keepRecording())
}

// keepRecording writes the conversation of the visit beside the logbook, once, when it is known which car it was with.
func (v *Visit) keepRecording() error {
	v.mu.Lock()
	car, last, result, kept := v.car.ID, v.last, v.result, v.recorded
	v.recorded = true
	v.mu.Unlock()
	entries := v.record.Entries()
	if kept || car == 0 || len(entries) == 0 || v.opt.Store == nil {
		return nil
	}
	r := garage.Recording{CarID: car, Begun: v.dated(entries[0].At), Ended: v.dated(entries[len(entries)-1].At)}
	for _, e := range entries {
		if e.Level == trace.Frame {
			r.Frames++
		}
	}
	if last != nil && !last.Begun.Before(r.Begun) { // a reading of this visit, not one from the logbook
		r.Visit = last.ID
	}
	if result != nil {
		r.Entry = result.Entry
	}
	ctx, stop := context.WithTimeout(context.Background(), keepWithin)
	defer stop()
	_, err := v.opt.Store.PutRecording(ctx, r, func(w io.Writer) error {
		p, err := trace.NewWriter(w)
		if err != nil {
			return err
		}
		for _, e := range entries {
			if err := p.Write(e); err != nil {
				return err
			}
		}
		return p.Close()
	})
	return err
}

// maxIdentifiers is how many identifiers an owner may add: single ones that somebody knows, and no range to be tried.
const maxIdentifiers = 32

// ErrManyIdentifiers means that more identifiers were added than an owner knows: a range is not tried.
var ErrManyIdentifiers = fmt.Errorf("diag: no more than %d identifiers can be added", maxIdentifiers)

// ErrCalendar means that dates were to be moved on another car than the practice car.
var ErrCalendar = errors.New("diag: only the practice car has a calendar of its own")

// dated is a time as it is written into the logbook.
func (v *Visit) dated(t time.Time) time.Time { return t.Add(v.opt.Ahead) }

// keepWithin is how long writing a recording may take at the end of a visit.
const keepWithin = 30 * time.Second

// Place is where the adapter is; Adapter is what it can do.
func (v *Visit) Place() adapter.Place        { return v.opt.Place }
func (v *Visit) Adapter() adapter.Abilities  { return v.conn.Abilities() }
func (v *Visit) Conversation() []trace.Entry { return v.record.Entries() }

// Since is what went over the wire after the entry with number seq and is still kept, and the number of the newest entry,
// which is the seq for the next call.
func (v *Visit) Since(seq uint64) ([]trace.Entry, uint64) { return v.record.Since(seq) }

// Supply is the car's 12 V supply in volts as the adapter measures it; ok is false where it can't.
func (v *Visit) Supply(ctx context.Context) (volts float64, ok bool) {
	s, can := v.conn.(adapter.Supply)
	if !can {
		return 0, false
	}
	volts, err := s.SupplyVolts(ctx)
	return volts, err == nil
}

// Tally counts what has left this computer, and what the gate held back.
func (v *Visit) Tally() Tally {
	t := v.gate.Tally()
	return Tally{Reads: t.Reads, Changes: t.Changes, Refused: t.Refused}
}

// Car is the car of this visit; its ID is zero until a look has found out which car it is.
func (v *Visit) Car() garage.Car {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.car
}

// Record is the newest reading of this visit, or the last one of this car from the store.
func (v *Visit) Record() (garage.Visit, bool) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.last == nil {
		return garage.Visit{}, false
	}
	return *v.last, true
}

// Result is the end of the last Send, nil before the first.
func (v *Visit) Result() *Result {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.result
}

// Timing tells how long the last complete Look took, and how long it had to take. It is zero before the first.
func (v *Visit) Timing() Timing {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.timing
}

// OpenQuestions are the changes of this store that were sent and whose answer nobody knows.
func (v *Visit) OpenQuestions(ctx context.Context) ([]garage.Entry, error) {
	return v.opt.Store.Unknown(ctx)
}

// Explain explains a line with what is known of this car.
func (v *Visit) Explain(text string, wish explain.Wish) explain.Explanation {
	return explain.Explain(text, v.explainOptions(wish))
}

// Compare puts two lines side by side.
func (v *Visit) Compare(a, b string) explain.Comparison {
	return explain.Compare(a, b, v.explainOptions(""))
}

func (v *Visit) explainOptions(wish explain.Wish) explain.Options {
	v.mu.Lock()
	defer v.mu.Unlock()
	o := explain.Options{Wish: wish, Identifiers: slices.Clone(v.opt.Identifiers), Filler: v.fillers()}
	for id := range v.heard {
		o.Heard = append(o.Heard, id)
	}
	if v.last != nil {
		o.Modules = ExplainModules(v.last.Modules)
	}
	if v.frames != nil {
		for _, f := range v.frames.Fillings() {
			for i, m := range o.Modules {
				if m.Address.Answer == f.Address.Answer && m.Address.Source == f.Address.Source {
					o.Modules[i].Filler = []byte{f.Byte}
				}
			}
		}
	}
	return o
}

// fillers are the bytes that this car's modules fill their frames with, the one that most of them use first. Over an
// adapter that carries messages nobody sees them.
func (v *Visit) fillers() []byte {
	if v.frames == nil {
		return nil
	}
	by := map[byte]int{}
	for _, f := range v.frames.Fillings() {
		by[f.Byte]++
	}
	return slices.SortedFunc(maps.Keys(by), func(a, b byte) int { return cmp.Or(by[b]-by[a], cmp.Compare(a, b)) })
}

// Filler is what a request to a module is filled up with: the byte that it fills its own frames with, else the one that most
// modules of this car use, else 55.
func (v *Visit) Filler(a link.Address) byte {
	if v.frames == nil {
		return isotp.DefaultPad
	}
	return v.frames.Pad(a)
}

// ExplainModules turns the modules of a record into what an explanation needs of them.
func ExplainModules(modules []garage.Module) []explain.Module {
	var out []explain.Module
	for _, m := range modules {
		e := explain.Module{Name: m.Name, Address: m.Address, Safety: m.Safety, Protocol: m.Protocol, Codes: -1}
		if m.CodesRead == garage.Yes {
			e.Codes = 0
			for _, c := range m.Codes {
				if !faulty(m, c) {
					continue
				}
				e.Codes++
				e.Held = append(e.Held, c.Code)
				e.Snapshots += len(c.Snapshots)
				if thereNow(m, c) {
					e.Now++
				}
			}
		}
		out = append(out, e)
	}
	return out
}

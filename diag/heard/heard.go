// Package heard keeps a table of what is said on a bus, one row an identifier: how often, how evenly, what was said
// last, which bytes change, and how much of the bus it takes. Where a signal definition file is at hand, the last data
// of an identifier are decoded.
//
// A [Table] takes entries of package trace as they come. Its memory depends on the number of identifiers, not on the
// number of frames. It is pure: no clock, nothing sent. It is not safe for use by several goroutines.
package heard

import (
	"math"
	"slices"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/signal"
	"readback/diag/trace"
)

// MaxRows is how many identifiers have a row; frames of further ones are only counted.
const MaxRows = 4096

// Options of a Table.
type Options struct {
	Signals *signal.File // nil without a definition file
}

// Table is what has been heard.
type Table struct {
	signals *signal.File
	narrow  [can.MaxID + 1]*row // by identifier of 11 bits, nil for those not heard
	wide    map[uint32]*row     // by identifier of 29 bits
	rows    []*row              // by identifier, those of 11 bits first
	frames  int
	more    int // frames of identifiers without a row
	bits    int
	first   int64
	newest  int64
	slots   [slots + 1]int // bits in the newest tenths of a second, the last of which goes on
	slot    int64          // number of the newest slot; only where there are frames
}

// The load of now is that of the newest second, kept in tenths.
const (
	slots    = 10
	slotTime = int64(time.Second) / slots
)

type row struct {
	id       link.ID
	out      bool
	frame    can.Frame // the newest
	bits     int       // of the newest, on the wire
	changed  uint8     // bytes that have ever changed
	newly    uint8     // bytes in which the newest frame differs from the one before
	count    int
	all      int // bits of all frames
	first    int64
	last     int64
	gaps     int
	mean     float64 // of the gaps, in nanoseconds
	squares  float64 // sum of squared distances from the mean
	shortest int64
	longest  int64
	message  *signal.Message
}

// New makes an empty Table.
func New(o Options) *Table {
	return &Table{signals: o.Signals, wide: map[uint32]*row{}}
}

// Add takes the next entries. Only frames count; those that this computer has sent are on the bus, too.
func (t *Table) Add(entries []trace.Entry) {
	for i := range entries {
		if e := &entries[i]; e.Level == trace.Frame {
			at := e.At.UnixNano()
			for k := range e.Frames {
				t.frame(at, e.Direction == bus.Out, &e.Frames[k])
			}
		}
	}
}

func (t *Table) frame(at int64, out bool, f *can.Frame) {
	if f.Validate() != nil {
		t.more++
		return
	}
	if t.frames == 0 {
		t.first, t.newest = at, at
	}
	t.frames++
	t.newest = max(t.newest, at)
	var r *row
	if f.IsExtended {
		r = t.wide[f.ID]
	} else {
		r = t.narrow[f.ID]
	}
	if r == nil {
		r = t.meet(link.IDOf(*f))
	}
	bits := 0
	if r == nil {
		t.more++
		bits = bus.FrameBits(*f)
	} else {
		bits = r.add(at, out, f)
	}
	t.bits += bits
	t.load(at, bits)
}

// meet gives an identifier a row, where there is room.
func (t *Table) meet(id link.ID) *row {
	if len(t.rows) == MaxRows {
		return nil
	}
	r := &row{id: id, shortest: math.MaxInt64}
	if t.signals != nil {
		r.message, _ = t.signals.Message(id)
	}
	i, _ := slices.BinarySearchFunc(t.rows, id, func(r *row, id link.ID) int { return compare(r.id, id) })
	t.rows = slices.Insert(t.rows, i, r)
	if id.Extended {
		t.wide[id.Value] = r
	} else {
		t.narrow[id.Value] = r
	}
	return r
}

func compare(a, b link.ID) int {
	switch {
	case a.Extended != b.Extended && b.Extended:
		return -1
	case a.Extended != b.Extended:
		return 1
	}
	return int(a.Value) - int(b.Value)
}

// add takes the next frame of an identifier and returns its bits on the wire.
func (r *row) add(at int64, out bool, f *can.Frame) int {
	if r.count == 0 {
		r.first = at
	} else {
		r.gap(at - r.last)
		if r.newly = differ(&r.frame, f); r.newly != 0 {
			r.changed |= r.newly
		}
	}
	if r.count == 0 || *f != r.frame { // equal frames have equal lengths
		r.bits = bus.FrameBits(*f)
	}
	r.frame, r.last, r.out = *f, at, out
	r.count++
	r.all += r.bits
	return r.bits
}

// gap counts the time between two frames, by Welford's method for mean and variance. Frames that are not in order of
// time count as simultaneous.
func (r *row) gap(d int64) {
	d = max(d, 0)
	r.gaps++
	delta := float64(d) - r.mean
	r.mean += delta / float64(r.gaps)
	r.squares += delta * (float64(d) - r.mean)
	r.shortest, r.longest = min(r.shortest, d), max(r.longest, d)
}

// differ are the bytes in which two frames differ, bit n for byte n. A byte that only one of them has differs.
func differ(a, b *can.Frame) (out uint8) {
	if a.Data == b.Data && a.Length == b.Length {
		return 0
	}
	for i := range uint8(can.MaxDataLength) {
		if i >= a.Length && i >= b.Length {
			break
		}
		if a.Data[i] != b.Data[i] || i >= a.Length || i >= b.Length {
			out |= 1 << i
		}
	}
	return out
}

// load counts bits in the slot of their time. Times before 1970 have slots, too.
func (t *Table) load(at int64, bits int) {
	slot := at / slotTime
	if at%slotTime < 0 {
		slot--
	}
	switch {
	case t.frames > 1 && slot < t.slot-slots:
		return // long ago
	case t.frames == 1 || slot > t.slot+slots:
		t.slots, t.slot = [slots + 1]int{}, slot
	default:
		for ; t.slot < slot; t.slot++ {
			t.slots[placeOf(t.slot+1)] = 0
		}
	}
	t.slots[placeOf(slot)] += bits
}

// placeOf is where a slot is kept.
func placeOf(slot int64) int64 { return (slot%(slots+1) + slots + 1) % (slots + 1) }

// Row is what is known of one identifier.
type Row struct {
	ID      link.ID
	Out     bool   // the newest frame was sent by this computer
	Name    string // of its message in the definition file, "" without
	Count   int
	Remote  bool
	Data    [can.MaxDataLength]byte // of the newest frame
	Length  int
	Changed uint8 // bytes that have ever changed: bit n for byte n
	Newly   uint8 // bytes in which the newest frame differs from the one before
	First   time.Time
	Last    time.Time
	// Period is the mean time between two frames and Jitter its standard deviation, Shortest and Longest are its
	// bounds; all are 0 as long as there is only one frame.
	Period, Jitter    time.Duration
	Shortest, Longest time.Duration
	Expected          time.Duration // period by the definition file, 0 without
	Share             float64       // of all bits heard, 0 to 1
}

// Rate is how many frames come in a second, 0 when not known.
func (r Row) Rate() float64 {
	if r.Period <= 0 {
		return 0
	}
	return float64(time.Second) / float64(r.Period)
}

// Len is the number of rows; Row is the one at place i, by identifier, those of 11 bits first. To make one allocates
// nothing.
func (t *Table) Len() int { return len(t.rows) }

func (t *Table) Row(i int) Row {
	r := t.rows[i]
	out := Row{ID: r.id, Out: r.out, Count: r.count, Remote: r.frame.IsRemote, Data: r.frame.Data, Length: int(r.frame.Length), Changed: r.changed, Newly: r.newly,
		First: time.Unix(0, r.first).UTC(), Last: time.Unix(0, r.last).UTC(), Share: float64(r.all) / float64(t.bits)}
	if r.gaps > 0 {
		out.Period, out.Shortest, out.Longest = time.Duration(r.mean), time.Duration(r.shortest), time.Duration(r.longest)
		out.Jitter = time.Duration(math.Sqrt(r.squares / float64(r.gaps)))
	}
	if r.message != nil {
		out.Name, out.Expected = r.message.Name, r.message.Cycle
	}
	return out
}

// Values appends the values in the newest frame of row i, as the definition file has them. None without a file, or for
// an identifier that it does not know.
func (t *Table) Values(out []signal.Value, i int) []signal.Value {
	r := t.rows[i]
	if r.message == nil || r.frame.IsRemote {
		return out
	}
	return r.message.Append(out, r.frame.Data[:r.frame.Length])
}

// Frames counts all frames that were heard, Unlisted those that have no row: of more identifiers than MaxRows, or that
// are none.
func (t *Table) Frames() int   { return t.frames }
func (t *Table) Unlisted() int { return t.more }

// Lasted is the time from the first to the newest frame.
func (t *Table) Lasted() time.Duration { return time.Duration(t.newest - t.first) }

// Load is the share of the time in which a bus of bitRate (bit/s) was busy, 0 to 1: over the newest whole second, and over
// all that was heard. It goes by exact lengths with stuff bits; see bus.FrameBits. Both are 0 without a bit rate; what
// was heard within less than a second is taken for a second.
func (t *Table) Load(bitRate int) (now, mean float64) {
	if bitRate <= 0 {
		return 0, 0
	}
	sum := 0
	for i, b := range t.slots {
		if t.Lasted() < time.Second || int64(i) != placeOf(t.slot) { // a tenth that goes on would be too little
			sum += b
		}
	}
	lasted := max(t.Lasted().Seconds(), 1)
	return float64(sum) / float64(bitRate), float64(t.bits) / (float64(bitRate) * lasted)
}

package diag

import (
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/trace"
)

// at is one frame of a trace, at ms after the beginning of the look.
func at(ms float64, d bus.Direction, text string) trace.Entry {
	var f can.Frame
	if err := f.UnmarshalString(text); err != nil {
		panic(err)
	}
	return trace.Entry{At: moment(ms), Direction: d, Level: trace.Frame, ID: link.IDOf(f), Frames: []can.Frame{f}}
}

func moment(ms float64) time.Time {
	return time.Unix(1_000_000, 0).Add(time.Duration(ms * float64(time.Millisecond)))
}

// TestLimit adds the formula up by hand. Frame lengths are those of bus.FrameBits, which has tests of its own against
// two independent references.
func TestLimit(t *testing.T) {
	a := link.Physical(link.ID11(0x7E0), link.ID11(0x7E8))
	silent := link.Physical(link.ID11(0x700), link.ID11(0x708))
	ask, found := at(1300, bus.Out, "700#023E005555555555"), at(1310, bus.In, "7E8#027E00AAAAAAAAAA")
	read := []trace.Entry{
		at(2000, bus.Out, "7E0#0322F19055555555"),
		at(2020, bus.In, "7E8#037F2278AAAAAAAA"), // 20 ms
		at(2320, bus.In, "7E8#101462F190305454"), // 300 ms more
		at(2320, bus.Out, "7E0#3000005555555555"),
		at(2321, bus.In, "7E8#21554E4B4E4F574E"),
		at(2321, bus.In, "7E8#22554E4B4E4F574E"),
		at(2322, bus.Out, "7E0#031902FF55555555"),
		at(2350, bus.In, "7E8#0359027FAAAAAAAA"),  // 28 ms
		at(2351, bus.Out, "7E0#0322F18C55555555"), // left unanswered: 150 ms
		at(2360, bus.Out, "700#023E005555555555"),
		at(2510, bus.Out, "700#023E005555555555"), // twice 150 ms
	}
	frames := append([]trace.Entry{
		at(500, bus.In, "120#0000001000000080"), // the car's own
		at(600, bus.In, "7A0#0000001000000080"), // also, though it looks like an answer
		at(1005, bus.In, "7A0#0000001000000081"),
		at(1010, bus.Out, "7DF#0322F19055555555"),
		ask, found,
	}, read...)
	p := phases{begun: moment(0), listened: moment(1000), asked: moment(1200), searched: moment(1900), rounds: 2, swept: true}
	got := limit(frames, p, []link.Address{a, silent}, 500_000)

	per := 20 * time.Microsecond // a bit of 2 µs at a tenth of the time
	search := time.Duration(bus.FrameBits(ask.Frames[0])+bus.FrameBits(found.Frames[0]))*per + 150*time.Millisecond
	if got.Listen != time.Second || got.Ask != 300*time.Millisecond || got.Search != search || got.Read != 498*time.Millisecond {
		t.Errorf("listen %v, ask %v, search %v (want %v), read %v (want 498ms)", got.Listen, got.Ask, got.Search, search, got.Read)
	}
	if want := got.Listen + got.Ask + got.Search + got.Read; got.Limit != want {
		t.Errorf("limit %v, want the sum %v", got.Limit, want)
	}
	if got.Frames != len(frames)-3 {
		t.Errorf("%d frames, want %d: the car's own do not count", got.Frames, len(frames)-3)
	}

	// On a slow bus its time, and not the module's, decides.
	bits := 0
	for _, e := range read {
		bits += bus.FrameBits(e.Frames[0])
	}
	p.swept = false
	if got := limit(frames, p, []link.Address{a}, 10_000); got.Read != time.Duration(bits)*time.Millisecond || got.Search != 0 {
		t.Errorf("at 10 kbit/s: read %v, want %d ms; search %v", got.Read, bits, got.Search)
	}
}

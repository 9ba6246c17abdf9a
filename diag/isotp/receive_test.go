package isotp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/bus/bustest"
	"readback/diag/link"
)

// received checks the next message.
func (l *lab) received(a link.Address, data []byte) link.Message {
	l.Helper()
	m := l.gets()
	if m.Address != a || !bytes.Equal(m.Data, data) {
		l.Fatalf("received % X from %+v, want % X from %+v", m.Data, m.Address, data, a)
	}
	return m
}

func TestReceiveSingle(t *testing.T) {
	for _, c := range []struct {
		name  string
		pair  link.Address
		frame string
		from  link.Address
		data  []byte
	}{
		// 7E8 03 41 05 46: ELM327 data sheet DSH, page 39.
		{"the standard's pair", link.Address{}, "7E8#0341054600000000", engine, []byte{0x41, 0x05, 0x46}},
		{"normal fixed", link.Address{}, "18DAF110#037F3E11", wide, []byte{0x7F, 0x3E, 0x11}},
		{"a known pair", door, "765#027E00AAAAAAAAAA", door, []byte{0x7E, 0x00}},
		{"a pair outside 700-7FF", link.Physical(link.ID11(0x6B1), link.ID11(0x651)), "651#027E00", link.Physical(link.ID11(0x6B1), link.ID11(0x651)), []byte{0x7E, 0x00}},
		{"a pair whose answer is also asked on", link.Physical(link.ID11(0x7E8), link.ID11(0x7E0)), "7E0#027E00", link.Physical(link.ID11(0x7E8), link.ID11(0x7E0)), []byte{0x7E, 0x00}},
		{"no known pair", link.Address{}, "765#027E00", link.Address{Answer: door.Answer}, []byte{0x7E, 0x00}},
		{"extended", extended, "612#F1027E0000000000", extended, []byte{0x7E, 0x00}},
		{"mixed", mixed, "7A8#33027E00", mixed, []byte{0x7E, 0x00}},
		{"padding is left out", link.Address{}, "7E8#024110000000FFFF", engine, []byte{0x41, 0x10}},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, Options{}, func(l *lab) {
				l.l.Pair(c.pair)
				l.l.Pair(link.Address{Request: link.ID11(0x7E0), Functional: true})
				l.after(time.Millisecond)
				l.says(c.frame)
				m := l.received(c.from, c.data)
				if at := m.At.Sub(l.start); at != time.Millisecond || len(m.Frames) != 1 {
					l.Errorf("at %v, frames %v", at, m.Frames)
				}
				l.wrote()
			})
		})
	}
}

func TestIgnored(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		l.l.Pair(extended)
		l.l.Pair(mixed)
		if err := <-l.sends(door, []byte{0x3E, 0x00}); err != nil {
			l.Fatal(err)
		}
		l.says(
			"100#023E00", "6FF#023E00", // ordinary messages of the car
			"745#023E00", "6F1#12023E00", // somebody else asks where we ask
			"00000765#027E00", "000007E8#027E00", // 29 bits
			"18DAF210#027E00", "18DB33F1#023E00", "1CDAF110#027E00",
			"612#F2027E00", "612#027E00", "612#", "7A8#02027E00", // for another tester, of another network
			"7E8#", "7E8#00", "7E8#R3", "7E8#0814FFFFFF000000", "7E8#0514FFFF", // nothing, a remote frame, lying lengths
			"7E8#2101020304050607", "7E8#300000", "7E8#1007010203040506", "7E8#F001020304050607")
		remote := can.Frame{ID: 0x7E8, IsRemote: true, Length: 3, Data: can.Data{0x02, 0x7E, 0x00}}
		if err := l.car.Send(l.Context(), remote); err != nil {
			l.Fatal(err)
		}
		l.silent()
		l.wrote("0 745#023E005555555555")
	})
}

// TestAnswersWhereWeAsk: a search has asked on 745 before it finds that 745 is where another module answers.
func TestAnswersWhereWeAsk(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		if err := <-l.sends(link.Address{Request: link.ID11(0x745)}, []byte{0x3E, 0x00}); err != nil {
			l.Fatal(err)
		}
		l.says("745#023E005555555555", "745#1014220102030405", "745#300000", "745#2162010203040506") // an echo, questions
		l.says("745#027E00", "745#037F3E11", "745#1014620102030405")
		from := link.Address{Answer: link.ID11(0x745)}
		l.received(from, []byte{0x7E, 0x00})
		l.received(from, []byte{0x7F, 0x3E, 0x11})
		l.tears(from, 6, 20, ErrNoPair)
		l.silent()
	})
}

// TestInterleaved is a published exchange: two modules tell their calibration identification at the same time
// (ELM329 data sheet DSB, page 38). The last 31 lies beyond the announced 19 bytes.
func TestInterleaved(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		l.says("7E8#1013490401353630", "7E9#1013490401353630", "7E8#2132383934394143", "7E9#2132383935344143")
		l.after(5 * time.Millisecond)
		l.says("7E8#2200000000000031", "7E9#2200000000000000")
		for _, c := range []struct {
			a    link.Address
			text string
		}{{engine, "56028949AC"}, {gears, "56028954AC"}} {
			m := l.received(c.a, append([]byte{0x49, 0x04, 0x01}, c.text+"\x00\x00\x00\x00\x00\x00"...))
			if at := m.At.Sub(l.start); at != 5*time.Millisecond || len(m.Frames) != 3 || m.Frames[1].Data[0] != 0x21 {
				l.Errorf("at %v, frames %v", at, m.Frames)
			}
		}
		l.wrote("0 7E0#3000005555555555", "0 7E1#3000005555555555")
	})
}

func TestFlowControlSent(t *testing.T) {
	for _, c := range []struct {
		name  string
		o     Options
		a     link.Address
		frame string
		want  string
	}{
		{"normal", Options{}, engine, "7E8#1014490201314434", "0 7E0#3000005555555555"},
		{"unpadded", Options{Short: true}, engine, "7E8#1014490201314434", "0 7E0#300000"},
		{"block size and separation as told", Options{BlockSize: 8, Separation: 0xF3}, engine, "7E8#1014490201314434", "0 7E0#3008F35555555555"},
		{"normal fixed", Options{}, wide, "18DAF110#1014490201314434", "0 18DA10F1#3000005555555555"},
		{"a learnt pair", Options{}, door, "765#1014490201314434", "0 745#3000005555555555"},
		{"extended", Options{}, extended, "612#F110144902013144", "0 6F1#1230000055555555"},
		{"mixed", Options{}, mixed, "7A8#3310144902013144", "0 7A0#3330000055555555"},
		{"too long", Options{MaxLength: 19}, engine, "7E8#1014490201314434", "0 7E0#3200005555555555"},
		{"far too long", Options{}, engine, "7E8#1000FFFFFFFF0102", "0 7E0#3200005555555555"},
		{"as long as may be", Options{}, engine, "7E8#10000000FFFF0102", "0 7E0#3000005555555555"},
		{"one byte longer", Options{}, engine, "7E8#1000000100000102", "0 7E0#3200005555555555"},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, c.o, func(l *lab) {
				l.l.Pair(c.a)
				l.says(c.frame)
				l.wrote(c.want)
			})
		})
	}
}

func TestReceiveInBlocks(t *testing.T) {
	inLab(t, Options{BlockSize: 2, Short: true}, func(l *lab) {
		l.says("7E8#1023010203040506")
		l.after(100 * time.Millisecond)
		l.says("7E8#210708090A0B0C0D")
		l.after(100 * time.Millisecond)
		l.says("7E8#220E0F1011121314")
		l.after(100 * time.Millisecond)
		l.says("7E8#2315161718191A1B", "7E8#241C1D1E1F202122", "7E8#2523")
		l.received(engine, numbered(35))
		l.wrote("0 7E0#300200", "200 7E0#300200", "300 7E0#300200")
	})
}

func TestReceiveTorn(t *testing.T) {
	type say struct {
		after time.Duration
		frame string
	}
	ms := time.Millisecond
	unknown := link.Address{Answer: door.Answer}
	for _, c := range []struct {
		name      string
		o         Options
		says      []say
		a         link.Address
		got, want int
		cause     error
		at        time.Duration
		then      []byte // the message that comes next
	}{
		{name: "nothing after the first frame", says: []say{{0, "7E8#1014010203040506"}}, a: engine, got: 6, want: 20, cause: ErrTimeoutCr, at: 1000 * ms},
		{name: "N_Cr as told", o: Options{Timeout: 200 * ms}, says: []say{{0, "7E8#1014010203040506"}}, a: engine, got: 6, want: 20, cause: ErrTimeoutCr, at: 200 * ms},
		{name: "N_Cr begins anew with each frame", says: []say{{0, "7E8#1014010203040506"}, {999 * ms, "7E8#210708090A0B0C0D"}}, a: engine, got: 13, want: 20, cause: ErrTimeoutCr, at: 1999 * ms},
		{name: "other modules don't count", says: []say{{0, "7E8#1014010203040506"}, {900 * ms, "7E9#2101020304050607"}}, a: engine, got: 6, want: 20, cause: ErrTimeoutCr, at: 1000 * ms},
		{name: "a frame is missing", says: []say{{0, "7E8#1014010203040506"}, {5 * ms, "7E8#220E0F1011121314"}}, a: engine, got: 6, want: 20, cause: ErrWrongSequence, at: 5 * ms},
		{name: "a frame comes twice", says: []say{{0, "7E8#1014010203040506"}, {0, "7E8#210708090A0B0C0D"}, {0, "7E8#210708090A0B0C0D"}}, a: engine, got: 13, want: 20, cause: ErrWrongSequence},
		{name: "a single frame comes between", says: []say{{0, "7E8#1014010203040506"}, {ms, "7E8#037F2278"}}, a: engine, got: 6, want: 20, cause: ErrUnexpected, at: ms, then: []byte{0x7F, 0x22, 0x78}},
		{name: "a new first frame comes between", says: []say{{0, "7E8#1014010203040506"}, {0, "7E8#1008010203040506"}, {0, "7E8#210708"}}, a: engine, got: 6, want: 20, cause: ErrUnexpected, then: numbered(8)},
		{name: "too long", says: []say{{0, "7E8#1000FFFFFFFF0102"}}, a: engine, want: 0x7FFFFFFF, cause: ErrOverflow},
		{name: "no known pair", says: []say{{0, "765#1014010203040506"}}, a: unknown, got: 6, want: 20, cause: ErrNoPair},
		{name: "no known pair and too long", says: []say{{0, "765#10000FFFFFFF0102"}}, a: unknown, want: 0x0FFFFFFF, cause: ErrNoPair},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, c.o, func(l *lab) {
				for _, x := range c.says {
					l.after(x.after)
					l.says(x.frame)
				}
				l.tears(c.a, c.got, c.want, c.cause)
				if at := time.Since(l.start); at != c.at {
					l.Errorf("after %v, want %v", at, c.at)
				}
				if c.then != nil {
					if m := l.received(c.a, c.then); len(m.Frames) != 1+len(c.then)/8 {
						l.Errorf("frames %v, of the torn message too", m.Frames)
					}
				}
				l.says("7E8#1008010203040506", "7E8#210708") // the Link goes on
				l.received(engine, numbered(8))
				l.after(time.Minute)
				l.silent()
			})
		})
	}
}

func TestFirstFrameOfAnUnknownPairIsNotAnswered(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		l.says("765#1014010203040506")
		l.tears(link.Address{Answer: door.Answer}, 6, 20, ErrNoPair)
		l.wrote()
		l.l.Pair(door)
		l.says("765#1008010203040506", "765#210708")
		l.received(door, numbered(8))
		l.wrote("0 745#3000005555555555")
	})
}

func TestFlowControlThatCannotBeSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		mine, car := bus.Pair()
		l := New(&jam{Bus: mine}, Options{})
		defer l.Close()
		start := time.Now()
		car.Send(t.Context(), can.Frame{ID: 0x7E8, Length: 8, Data: can.Data{0x10, 0x14, 1, 2, 3, 4, 5, 6}})
		_, err := l.Receive(t.Context())
		torn(t, err, engine, 6, 20, ErrTimeoutAr)
		if at := time.Since(start); at != time.Second {
			t.Errorf("after %v", at)
		}
	})
}

// TestBothWaysAtOnce: a request and an answer of one module do not disturb each other (full duplex, clause 9.8.3).
func TestBothWaysAtOnce(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		done := l.sends(engine, numbered(20))
		l.says("7E8#1008010203040506") // the module answers something older while it takes the request
		l.says("7E8#30000A")
		l.after(5 * time.Millisecond)
		l.says("7E8#210708")
		l.received(engine, numbered(8))
		if err := <-done; err != nil {
			l.Error(err)
		}
		l.wrote("0 7E0#1014010203040506", "0 7E0#3000005555555555", "0 7E0#210708090A0B0C0D", "10 7E0#220E0F1011121314")
	})
}

func TestControllerTroubles(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := bustest.Play(t,
			bustest.Step{Fault: bus.FaultWarning},
			bustest.Step{Fault: bus.FaultOverrun},
			bustest.Step{In: "7E8#027E00"},
			bustest.Step{Fault: bus.FaultPassive | bus.FaultBusOff},
			bustest.Step{Fault: bus.FaultDown},
			bustest.Step{In: "7E8#037E0000"})
		l := New(p, Options{})
		defer l.Close()
		synctest.Wait()
		messages, alerts := 0, ""
		for range 4 {
			_, err := l.Receive(t.Context())
			var alert *link.AdapterError
			switch {
			case err == nil:
				messages++
			case errors.As(err, &alert):
				alerts += alert.Text + ", "
			default:
				t.Fatal(err)
			}
		}
		if messages != 2 || alerts != "bus off, interface down, " {
			t.Errorf("%d messages; %s", messages, alerts)
		}
	})
}

// vanishing is a bus that is there for a while.
type vanishing struct {
	bus.Bus
	gone chan struct{}
}

func (v *vanishing) Receive(ctx context.Context) (bus.Received, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		select {
		case <-v.gone:
			cancel()
		case <-ctx.Done():
		}
	}()
	r, err := v.Bus.Receive(ctx)
	select {
	case <-v.gone:
		return r, fmt.Errorf("reading can0: %w", bus.ErrGone)
	default:
		return r, err
	}
}

func TestTheAdapterVanishes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		mine, car := bus.Pair()
		v := &vanishing{Bus: mine, gone: make(chan struct{})}
		l := New(v, Options{})
		defer l.Close()
		car.Send(t.Context(), can.Frame{ID: 0x7E8, Length: 3, Data: can.Data{2, 0x7E, 0}})
		synctest.Wait()
		done := make(chan error, 1)
		go func() { done <- l.Send(t.Context(), link.Message{Address: engine, Data: numbered(20)}) }()
		synctest.Wait()
		close(v.gone)
		if m, err := l.Receive(t.Context()); err != nil || len(m.Data) != 2 {
			t.Errorf("what was complete is lost: %v", err)
		}
		if _, err := l.Receive(t.Context()); !errors.Is(err, link.ErrGone) || !errors.Is(err, bus.ErrGone) {
			t.Errorf("Receive: %v, want ErrGone", err)
		}
		if err := <-done; !errors.Is(err, link.ErrGone) {
			t.Errorf("the Send under way: %v, want ErrGone", err)
		}
		if err := l.Send(t.Context(), link.Message{Address: engine, Data: numbered(2)}); !errors.Is(err, link.ErrGone) {
			t.Errorf("Send: %v, want ErrGone", err)
		}
		l.Close()
		if _, err := l.Receive(t.Context()); !errors.Is(err, link.ErrClosed) {
			t.Errorf("after Close: %v, want ErrClosed", err)
		}
	})
}

// TestNobodyReceives: a Link whose messages nobody fetches holds the bus up, loses nothing, and can be closed.
func TestNobodyReceives(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		const n = 2000
		go func() {
			for i := range n {
				if l.car.Send(l.Context(), can.Frame{ID: 0x7E8, Length: 3, Data: can.Data{2, byte(i >> 8), byte(i)}}) != nil {
					return
				}
			}
		}()
		synctest.Wait()
		for i := range n {
			l.received(engine, []byte{byte(i >> 8), byte(i)})
		}
		go func() {
			for l.car.Send(l.Context(), can.Frame{ID: 0x7E8, Length: 3, Data: can.Data{2, 1, 2}}) == nil {
			}
		}()
		synctest.Wait()
		if err := l.l.Close(); err != nil {
			l.Error(err)
		}
		l.car.Close()
	})
}

// TestLateButInTime: frames that arrived within N_Cr count, even when the Link could look at them only later.
func TestLateButInTime(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		const modules = 8
		for i := range modules {
			l.says(fmt.Sprintf("7E%X#1008010203040506", 8+i))
		}
		for range outDepth + 1 { // one more than Receive leaves waiting: now the Link waits
			l.says("7F0#017E")
		}
		for i := range modules {
			l.says(fmt.Sprintf("7E%X#210708", 8+i))
		}
		l.after(2 * time.Second)
		for range outDepth + 1 {
			l.received(link.Address{Answer: link.ID11(0x7F0)}, []byte{0x7E})
		}
		for range modules {
			l.gets()
		}
	})
}

func TestCloseLeavesNothingToReceive(t *testing.T) {
	for range 10 { // a choice between two ways to return would show in one of them
		inLab(t, Options{}, func(l *lab) {
			l.says("7E8#017E")
			l.l.Close()
			if _, err := l.l.Receive(l.Context()); !errors.Is(err, link.ErrClosed) {
				l.Errorf("Receive: %v, want ErrClosed", err)
			}
		})
	}
}

// TestAnyFrames: whatever is on the bus, the Link goes on.
func TestAnyFrames(t *testing.T) {
	for seed := range uint64(20) {
		inLab(t, Options{BlockSize: byte(seed % 3)}, func(l *lab) {
			r := rand.New(rand.NewPCG(seed, 15765))
			for _, a := range []link.Address{door, extended, mixed} {
				l.l.Pair(a)
			}
			ids := []link.ID{engine.Answer, gears.Answer, door.Answer, wide.Answer, extended.Answer, mixed.Answer, link.ID11(0x7FF), link.ID11(0x100)}
			heads := []byte{0x00, 0x07, 0x10, 0x11, 0x1F, 0x20, 0x21, 0x22, 0x2F, 0x30, 0x31, 0x32, 0x3F, 0x40, 0xFF, 0xF1, 0x33}
			ctx, stop := context.WithCancel(l.Context())
			go func() {
				for ctx.Err() == nil {
					if m, err := l.l.Receive(ctx); err == nil && (len(m.Data) == 0 || len(m.Frames) == 0) {
						l.Errorf("an empty message: %+v", m)
					}
				}
			}()
			go func() { // take what the Link sends, so that the wire does not fill up
				for ctx.Err() == nil {
					l.car.Receive(ctx)
				}
			}()
			go l.l.Send(ctx, link.Message{Address: engine, Data: numbered(200)})
			for range 2000 {
				id := ids[r.IntN(len(ids))]
				f := can.Frame{ID: id.Value, IsExtended: id.Extended, Length: uint8(r.IntN(9))}
				for i := range f.Length {
					f.Data[i] = byte(r.Uint32())
					if i < 2 {
						f.Data[i] = heads[r.IntN(len(heads))]
					}
				}
				if err := l.car.Send(ctx, f); err != nil {
					l.Fatal(err)
				}
				if r.IntN(20) == 0 {
					l.after(time.Duration(r.IntN(400)) * time.Millisecond)
				}
			}
			l.after(time.Minute)
			stop()
			synctest.Wait()
			for len(l.l.out) > 0 {
				<-l.l.out
			}
			l.says("7E8#1008010203040506", "7E8#210708")
			l.received(engine, numbered(8))
		})
	}
}

// TestAnswersByTheirService: bit 0x40 of the service identifier alone tells an answer from a question.
func TestAnswersByTheirService(t *testing.T) {
	for data, want := range map[can.Data]bool{
		{0x02, 0x7E, 0x00}:       true,
		{0x03, 0x7F, 0x19, 0x31}: true,
		{0x10, 0x14, 0x59, 0x02}: true,
		{0x02, 0x3E, 0x00}:       false,
		{0x03, 0x19, 0x42, 0xFF}: false,
		{0x10, 0x14, 0x2F, 0xF1}: false,
		{0x10, 0x40, 0x19, 0x04}: false,
		{0x21, 0x7E, 0x7E, 0x7E}: false,
		{0x30, 0x7E, 0x7E, 0x7E}: false,
	} {
		if got := Answers(can.Frame{Length: 8, Data: data}); got != want {
			t.Errorf("% X: %v", data, got)
		}
	}
}

package isotp

import (
	"bytes"
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// numbered is 1, 2, 3, ... of n bytes.
func numbered(n int) []byte {
	out := make([]byte, n)
	for i := range out {
		out[i] = byte(i + 1)
	}
	return out
}

func TestSendSingle(t *testing.T) {
	for _, c := range []struct {
		name string
		o    Options
		a    link.Address
		data []byte
		want string
	}{
		{"padded with 55 by default", Options{}, engine, []byte{0x3E, 0x00}, "0 7E0#023E005555555555"},
		{"padded as told", Options{Pad: 0xCC}, engine, []byte{0x3E, 0x00}, "0 7E0#023E00CCCCCCCCCC"},
		{"unpadded", Options{Short: true}, engine, []byte{0x3E, 0x00}, "0 7E0#023E00"},
		{"seven bytes", Options{}, engine, numbered(7), "0 7E0#0701020304050607"},
		{"all modules", Options{}, link.Functional11(), []byte{0x01, 0x00}, "0 7DF#0201005555555555"},
		{"all modules, 29 bits", Options{}, link.Functional29(), []byte{0x01, 0x00}, "0 18DB33F1#0201005555555555"},
		{"normal fixed", Options{}, wide, []byte{0x3E, 0x00}, "0 18DA10F1#023E005555555555"},
		{"extended", Options{}, extended, []byte{0x3E, 0x00}, "0 6F1#12023E0055555555"},
		{"extended, six bytes", Options{}, extended, numbered(6), "0 6F1#1206010203040506"},
		{"mixed", Options{}, mixed, []byte{0x3E, 0x00}, "0 7A0#33023E0055555555"},
		{"an answer identifier not known", Options{}, link.Address{Request: link.ID11(0x745)}, []byte{0x3E, 0x00}, "0 745#023E005555555555"},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, c.o, func(l *lab) {
				if err := <-l.sends(c.a, c.data); err != nil {
					l.Fatal(err)
				}
				l.wrote(c.want)
			})
		})
	}
}

func TestSendExact(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		for _, m := range []link.Message{
			{Address: door, Data: []byte{0x14, 0xFF, 0xFF, 0xFF}, Exact: []byte{0x04, 0x14, 0xFF, 0xFF, 0xFF, 0xAA, 0x00, 0x01}},
			{Address: door, Data: []byte{0x3E, 0x00}, Exact: []byte{0x02, 0x3E, 0x00}},
			{Address: extended, Data: []byte{0x3E, 0x00}, Exact: []byte{0x12, 0x02, 0x3E, 0x00}},
			{Address: link.Functional11(), Data: []byte{0x04}, Exact: []byte{0x01, 0x04, 0, 0, 0, 0, 0, 0}},
		} {
			if err := l.l.Send(l.Context(), m); err != nil {
				l.Fatal(err)
			}
		}
		for _, m := range []link.Message{
			{Address: extended, Data: []byte{0x3E, 0x00}, Exact: []byte{0x13, 0x02, 0x3E, 0x00}}, // another module's address byte
			{Address: extended, Data: []byte{0x3E, 0x00}, Exact: []byte{0x02, 0x3E, 0x00}},       // no address byte
			{Address: door, Data: []byte{0x3E, 0x00}, Exact: []byte{0x02, 0x3E, 0x80}},
			{Address: door, Data: numbered(8), Exact: numbered(8)},
		} {
			if err := l.l.Send(l.Context(), m); !errors.Is(err, link.ErrNotExact) {
				l.Errorf("% X: %v, want ErrNotExact", m.Exact, err)
			}
		}
		l.wrote("0 745#0414FFFFFFAA0001", "0 745#023E00", "0 6F1#12023E00", "0 7DF#0104000000000000")
	})
}

func TestSendRefuses(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		for _, c := range []struct {
			name string
			m    link.Message
			want error
		}{
			{"a long request to all modules", link.Message{Address: link.Functional11(), Data: numbered(8)}, link.ErrTooLong},
			{"seven bytes with an address byte, to all modules", link.Message{Address: link.Address{Mode: link.Extended, Functional: true, Request: link.ID11(0x6F1)}, Data: numbered(7)}, link.ErrTooLong},
			{"the same with an answer identifier", link.Message{Address: link.Address{Functional: true, Request: link.ID11(0x7DF), Answer: link.ID11(0x7E8)}, Data: numbered(8)}, link.ErrTooLong},
			{"a long request whose answer is not known", link.Message{Address: link.Address{Request: link.ID11(0x745)}, Data: numbered(8)}, link.ErrTooLong},
			{"an empty message", link.Message{Address: engine}, errEmpty},
		} {
			if err := l.l.Send(l.Context(), c.m); !errors.Is(err, c.want) {
				l.Errorf("%s: %v, want %v", c.name, err, c.want)
			}
		}
		if err := l.l.Send(l.Context(), link.Message{Data: numbered(2)}); err == nil {
			l.Error("to no identifier: no error")
		}
		l.wrote()
	})
}

// TestSendSegmented: 20 bytes are 6, 7 and 7 (as the answer on page 42 of the ELM327 data sheet).
func TestSendSegmented(t *testing.T) {
	for _, c := range []struct {
		name string
		flow string
		want []string
	}{
		{"without a pause", "7E8#300000", []string{"0 7E0#1014010203040506", "10 7E0#210708090A0B0C0D", "10 7E0#220E0F1011121314"}},
		{"10 ms between", "7E8#30000A", []string{"0 7E0#1014010203040506", "10 7E0#210708090A0B0C0D", "20 7E0#220E0F1011121314"}},
		{"500 us between", "7E8#3000F5", []string{"0 7E0#1014010203040506", "10 7E0#210708090A0B0C0D", "10.5 7E0#220E0F1011121314"}},
		{"a reserved separation time is 127 ms", "7E8#3000FA", []string{"0 7E0#1014010203040506", "10 7E0#210708090A0B0C0D", "137 7E0#220E0F1011121314"}},
		{"padded flow control", "7E8#3000000000000000", []string{"0 7E0#1014010203040506", "10 7E0#210708090A0B0C0D", "10 7E0#220E0F1011121314"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, Options{}, func(l *lab) {
				done := l.sends(engine, numbered(20))
				l.after(10 * time.Millisecond)
				l.says(c.flow)
				if err := <-done; err != nil {
					l.Fatal(err)
				}
				l.wrote(c.want...)
			})
		})
	}
}

func TestSendInBlocks(t *testing.T) {
	inLab(t, Options{Short: true}, func(l *lab) {
		done := l.sends(engine, numbered(35))
		l.says("7E8#300205") // two, then wait
		l.after(5 * time.Millisecond)
		l.wrote("0 7E0#1023010203040506", "0 7E0#210708090A0B0C0D", "5 7E0#220E0F1011121314")
		l.after(100 * time.Millisecond)
		l.says("7E8#310000", "7E8#300100") // wait, then one more
		l.after(100 * time.Millisecond)
		l.says("7E8#300000") // the rest
		if err := <-done; err != nil {
			l.Fatal(err)
		}
		l.wrote("0 7E0#1023010203040506", "0 7E0#210708090A0B0C0D", "5 7E0#220E0F1011121314", "105 7E0#2315161718191A1B", "205 7E0#241C1D1E1F202122", "205 7E0#2523")
	})
}

// TestStrayFlowControlInABlock: what comes before a block has ended is not the answer to it (clause 9.8.3).
func TestStrayFlowControlInABlock(t *testing.T) {
	inLab(t, Options{Short: true}, func(l *lab) {
		done := l.sends(engine, numbered(34)) // 6, and four times 7
		l.says("7E8#300205")                  // two, 5 ms apart
		l.after(2 * time.Millisecond)
		l.says("7E8#320000", "7E8#300000") // overflow, and the rest in one go
		l.after(8 * time.Millisecond)
		l.wrote("0 7E0#1022010203040506", "0 7E0#210708090A0B0C0D", "5 7E0#220E0F1011121314")
		l.says("7E8#300000")
		if err := <-done; err != nil {
			l.Fatal(err)
		}
		l.wrote("0 7E0#1022010203040506", "0 7E0#210708090A0B0C0D", "5 7E0#220E0F1011121314", "10 7E0#2315161718191A1B", "10 7E0#241C1D1E1F202122")
	})
}

func TestSendTorn(t *testing.T) {
	type say struct {
		after time.Duration
		frame string
	}
	s := time.Second
	for _, c := range []struct {
		name  string
		o     Options
		says  []say
		at    time.Duration
		got   int
		cause error
	}{
		{"no flow control within N_Bs", Options{}, nil, s, 6, ErrTimeoutBs},
		{"N_Bs as told", Options{Timeout: 150 * time.Millisecond}, nil, 150 * time.Millisecond, 6, ErrTimeoutBs},
		{"no flow control after a block", Options{}, []say{{0, "7E8#300100"}}, s, 13, ErrTimeoutBs},
		{"flow control of another module", Options{}, []say{{0, "7E9#300000"}}, s, 6, ErrTimeoutBs},
		{"a wait frame starts N_Bs anew", Options{}, []say{{900 * time.Millisecond, "7E8#310000"}}, 1900 * time.Millisecond, 6, ErrTimeoutBs},
		{"overflow", Options{}, []say{{100 * time.Millisecond, "7E8#320000"}}, 100 * time.Millisecond, 6, ErrOverflow},
		{"an invalid flow status", Options{}, []say{{0, "7E8#330000"}}, 0, 6, ErrInvalidFlow},
		{"the last invalid flow status", Options{}, []say{{0, "7E8#3F0000"}}, 0, 6, ErrInvalidFlow},
		{"a flow control too short to be one", Options{}, []say{{0, "7E8#3000"}}, s, 6, ErrTimeoutBs},
		{"more wait frames than told", Options{MaxWaits: 2}, []say{{0, "7E8#310000"}, {0, "7E8#310000"}, {s / 2, "7E8#310000"}}, s / 2, 6, ErrTooManyWaits},
		{"no wait frame is taken", Options{MaxWaits: -1}, []say{{s / 2, "7E8#310000"}}, s / 2, 6, ErrTooManyWaits},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, c.o, func(l *lab) {
				done := l.sends(engine, numbered(20))
				for _, x := range c.says {
					l.after(x.after)
					l.says(x.frame)
				}
				err := <-done
				torn(l.T, err, engine, c.got, 20, c.cause)
				if at := time.Since(l.start); at != c.at {
					l.Errorf("after %v, want %v", at, c.at)
				}
				next := l.sends(engine, numbered(20)) // the Link goes on
				l.says("7E8#300000")
				if err := <-next; err != nil {
					l.Error(err)
				}
			})
		})
	}
}

// TestElevenWaitFramesAreTooMany: without another word ten are taken (N_WFTmax is a choice of the implementation, clause 9.7).
func TestElevenWaitFramesAreTooMany(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		done := l.sends(engine, numbered(8))
		for range 11 {
			l.after(100 * time.Millisecond)
			l.says("7E8#310000")
		}
		torn(l.T, <-done, engine, 6, 8, ErrTooManyWaits)
	})
}

func TestTenWaitFramesAreTaken(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		done := l.sends(engine, numbered(8))
		for range 10 {
			l.after(900 * time.Millisecond)
			l.says("7E8#310000")
		}
		l.after(900 * time.Millisecond)
		l.says("7E8#300000")
		if err := <-done; err != nil {
			l.Fatal(err)
		}
		l.wrote("0 7E0#1008010203040506", "9900 7E0#2107085555555555")
	})
}

// TestUnexpectedFlowControl: flow control outside its time is ignored (clause 9.8.3) and holds nobody up.
func TestUnexpectedFlowControl(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		l.says("7E8#300000", "7E8#320000")
		done := l.sends(engine, numbered(20))
		l.says("7E8#30000A") // then it pauses for 10 ms
		for range 50 {
			l.says("7E8#320000")
		}
		l.says("7E9#027E00")
		if m := l.gets(); m.Address.Answer != gears.Answer || m.At.Sub(l.start) != 0 {
			l.Errorf("%+v", m)
		}
		if err := <-done; err != nil {
			l.Error(err)
		}
		l.wrote("0 7E0#1014010203040506", "0 7E0#210708090A0B0C0D", "10 7E0#220E0F1011121314")
		l.silent()
	})
}

func TestSendersOfDifferentAddressesDoNotWait(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		stuck := l.sends(engine, numbered(20))
		long := l.sends(gears, numbered(8))
		if err := <-l.sends(door, numbered(2)); err != nil {
			l.Error(err)
		}
		l.says("7E9#300000")
		if err := <-long; err != nil {
			l.Error(err)
		}
		if d := time.Since(l.start); d != 0 {
			l.Errorf("they waited %v", d)
		}
		torn(l.T, <-stuck, engine, 6, 20, ErrTimeoutBs)
	})
}

// TestSendersBehindOneIdentifierDoNotWait: with extended addressing many modules are asked on one identifier.
func TestSendersBehindOneIdentifierDoNotWait(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		other := extended
		other.Target, other.Answer = 0x40, link.ID11(0x640)
		stuck := l.sends(extended, numbered(20))
		long := l.sends(other, numbered(7))
		l.says("640#F2300000", "640#F1300000")
		if err := <-long; err != nil {
			l.Error(err)
		}
		l.wrote("0 6F1#1210140102030405", "0 6F1#4010070102030405", "0 6F1#4021060755555555")
		torn(l.T, <-stuck, extended, 5, 20, ErrTimeoutBs)
		torn(l.T, <-l.sends(engine, make([]byte, 5000)), engine, 2, 5000, ErrTimeoutBs)
		torn(l.T, <-l.sends(mixed, make([]byte, 5000)), mixed, 1, 5000, ErrTimeoutBs)
	})
}

// TestSendersOfOneAddressTakeTurns: a single frame in the middle of a long request would end it at the module.
func TestSendersOfOneAddressTakeTurns(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		long := l.sends(engine, numbered(8))
		short := l.sends(engine, numbered(2))
		ctx, cancel := context.WithTimeout(l.Context(), 50*time.Millisecond)
		defer cancel()
		if err := l.l.Send(ctx, link.Message{Address: engine, Data: numbered(3)}); !errors.Is(err, context.DeadlineExceeded) {
			l.Errorf("waiting for its turn: %v", err)
		}
		l.says("7E8#300000")
		if err := <-long; err != nil {
			l.Error(err)
		}
		if err := <-short; err != nil {
			l.Error(err)
		}
		l.wrote("0 7E0#1008010203040506", "50 7E0#2107085555555555", "50 7E0#0201025555555555")
	})
}

func TestSendStopsWithItsContext(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		ctx, cancel := context.WithCancel(l.Context())
		for _, flow := range []string{"", "7E8#30007F"} {
			done := make(chan error, 1)
			go func() { done <- l.l.Send(ctx, link.Message{Address: engine, Data: numbered(50)}) }()
			synctest.Wait()
			if flow != "" {
				l.says(flow)
			}
			cancel()
			err := <-done
			var torn *link.TornError
			if !errors.Is(err, context.Canceled) || errors.As(err, &torn) {
				l.Errorf("%q: %v, want context.Canceled, and no word of the module", flow, err)
			}
			ctx, cancel = context.WithCancel(l.Context())
		}
		cancel()
	})
}

func TestCloseStopsSend(t *testing.T) {
	for _, flow := range []string{"", "7E8#30007F"} {
		inLab(t, Options{}, func(l *lab) {
			done := l.sends(engine, numbered(50))
			turn := l.sends(engine, numbered(2))
			if flow != "" {
				l.says(flow)
			}
			if err := l.l.Close(); err != nil {
				l.Error(err)
			}
			for _, c := range []<-chan error{done, turn} {
				if err := <-c; !errors.Is(err, link.ErrClosed) {
					l.Errorf("%q: %v, want ErrClosed", flow, err)
				}
			}
			if d := time.Since(l.start); d != 0 {
				l.Errorf("%q: they ended %v after Close", flow, d)
			}
		})
	}
}

// jam is a bus that takes so many frames and then no more.
type jam struct {
	bus.Bus
	takes int
	err   error // instead of waiting
}

func (j *jam) Send(ctx context.Context, f can.Frame) error {
	if j.takes--; j.takes >= 0 {
		return j.Bus.Send(ctx, f)
	}
	if j.err != nil {
		return j.err
	}
	<-ctx.Done()
	return ctx.Err()
}

func TestTheBusTakesNoFrame(t *testing.T) {
	for _, c := range []struct {
		name  string
		takes int
		err   error
		size  int
		torn  bool
		want  error
		at    time.Duration
	}{
		{"N_As of a single frame", 0, nil, 2, false, ErrTimeoutAs, time.Second},
		{"N_As of a first frame", 0, nil, 20, false, ErrTimeoutAs, time.Second},
		{"N_As in the middle", 2, nil, 20, true, ErrTimeoutAs, time.Second},
		{"bus off", 0, bus.ErrOff, 2, false, bus.ErrOff, 0},
		{"bus off in the middle", 1, bus.ErrOff, 20, true, bus.ErrOff, 0},
		{"the adapter vanishes in the middle", 1, bus.ErrGone, 20, false, link.ErrGone, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				mine, car := bus.Pair()
				l := New(&jam{Bus: mine, takes: c.takes, err: c.err}, Options{})
				defer l.Close()
				start := time.Now()
				done := make(chan error, 1)
				go func() { done <- l.Send(t.Context(), link.Message{Address: engine, Data: numbered(c.size)}) }()
				synctest.Wait()
				car.Send(t.Context(), can.Frame{ID: 0x7E8, Length: 3, Data: can.Data{0x30}})
				err := <-done
				var torn *link.TornError
				if !errors.Is(err, c.want) || errors.As(err, &torn) != c.torn || errors.Is(err, context.DeadlineExceeded) {
					t.Errorf("%v, want %v", err, c.want)
				}
				if at := time.Since(start); at != c.at {
					t.Errorf("after %v, want %v", at, c.at)
				}
				l.mu.Lock()
				defer l.mu.Unlock()
				if len(l.sending) > 0 {
					t.Error("flow control for it is still waited for")
				}
			})
		})
	}
}

func TestSendLeavesTheCallersBytesAlone(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		data := numbered(20)
		done := l.sends(engine, data)
		clear(data)
		l.says("7E8#300000")
		if err := <-done; err != nil {
			l.Fatal(err)
		}
		if !bytes.Equal(data, make([]byte, 20)) {
			l.Error("the caller's bytes were changed")
		}
		l.wrote("0 7E0#1014010203040506", "0 7E0#210708090A0B0C0D", "0 7E0#220E0F1011121314")
	})
}

// TestTheBusTakesNoFlowControl: an answer that can't be asked on is torn at once; that it has begun is not told.
func TestTheBusTakesNoFlowControl(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		mine, car := bus.Pair()
		l := New(&jam{Bus: mine, err: bus.ErrOff}, Options{TellBegun: true})
		defer l.Close()
		l.Pair(engine)
		for _, data := range []can.Data{{0x10, 20, 1, 2, 3, 4, 5, 6}, {0x02, 0x7E, 0x00}} {
			if err := car.Send(t.Context(), can.Frame{ID: 0x7E8, Length: 8, Data: data}); err != nil {
				t.Fatal(err)
			}
		}
		var torn *link.TornError
		if m, err := l.Receive(t.Context()); !errors.As(err, &torn) || !errors.Is(err, bus.ErrOff) {
			t.Errorf("%+v, %v, want a torn message", m, err)
		}
		if m, err := l.Receive(t.Context()); err != nil || len(m.Data) != 2 || m.Begun != 0 {
			t.Errorf("%+v, %v, want the next answer", m, err)
		}
	})
}

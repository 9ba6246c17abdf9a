package isotp

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus/bustest"
	"readback/diag/link"
)

// TestUnexpectedArrivals is the table of ISO 15765-2:2016 clause 9.8.3, "handling of unexpected arrival of network
// protocol data units", for a node that can do both at once (full duplex), cell by cell. The table is written down from
// memory; the kernel's transport, which is compared with ours elsewhere, follows the same.
func TestUnexpectedArrivals(t *testing.T) {
	const (
		idle       = "idle"
		receiving  = "receiving a segmented message"                         // 20 bytes, 6 of them here
		waiting    = "sending a segmented message, waiting for flow control" // 20 bytes
		pausing    = "sending a segmented message, in the middle of a block" // 34 bytes, 10 ms between frames
		both       = "receiving one and sending one"
		single     = "7E8#037F2278"
		first      = "7E8#1009A1A2A3A4A5A6"
		next       = "7E8#210708090A0B0C0D"
		flow       = "7E8#300000"
		unknown    = "7E8#5001020304050607"
		receivedSF = "7F2278"
	)
	long := fmt.Sprintf("%X", numbered(20))
	second := "A1A2A3A4A5A6A7A8A9"
	for _, c := range []struct {
		state, name, arrival string
		torn                 bool   // the message being received ends with N_UNEXP_PDU
		then                 string // what is received in the end; messages are followed up with what is missing of them
		sent                 bool   // the message being sent goes out, before flow control comes
	}{
		{idle, "SF", single, false, receivedSF, false},
		{idle, "FF", first, false, second, false},
		{idle, "CF", next, false, "", false},
		{idle, "FC", flow, false, "", false},
		{idle, "unknown", unknown, false, "", false},
		{receiving, "SF", single, true, receivedSF, false},
		{receiving, "FF", first, true, second, false},
		{receiving, "CF", next, false, long, false},
		{receiving, "FC", flow, false, long, false},
		{receiving, "unknown", unknown, false, long, false},
		{waiting, "SF", single, false, receivedSF, false},
		{waiting, "FF", first, false, second, false},
		{waiting, "CF", next, false, "", false},
		{waiting, "FC", flow, false, "", true},
		{waiting, "unknown", unknown, false, "", false},
		{pausing, "SF", single, false, receivedSF, true},
		{pausing, "FF", first, false, second, true},
		{pausing, "CF", next, false, "", true},
		{pausing, "FC", "7E8#320000", false, "", true}, // would end it, were it awaited
		{pausing, "unknown", unknown, false, "", true},
		{both, "SF", single, true, receivedSF, false},
		{both, "FF", first, true, second, false},
		{both, "CF", next, false, long, false},
		{both, "FC", flow, false, long, true},
		{both, "unknown", unknown, false, long, false},
	} {
		t.Run(c.state+"/"+c.name, func(t *testing.T) {
			inLab(t, Options{}, func(l *lab) {
				var sending <-chan error
				if c.state == receiving || c.state == both {
					l.says("7E8#1014010203040506")
				}
				switch c.state {
				case waiting, both:
					sending = l.sends(engine, numbered(20))
				case pausing:
					sending = l.sends(engine, numbered(34))
					l.says("7E8#30000A")
					l.after(5 * time.Millisecond)
				}
				l.says(c.arrival)
				if c.torn {
					l.tears(engine, 6, 20, ErrUnexpected)
				}
				if c.then == second {
					l.says("7E8#21A7A8A9")
				}
				if c.then == long && c.arrival != next {
					l.says(next)
				}
				if c.then == long {
					l.says("7E8#220E0F1011121314")
				}
				if c.then != "" {
					if m := l.gets(); fmt.Sprintf("%X", m.Data) != c.then {
						l.Errorf("received % X, want %s", m.Data, c.then)
					}
				}
				l.silent()
				if sending == nil {
					return
				}
				if !c.sent { // still waiting for it
					synctest.Wait()
					select {
					case err := <-sending:
						l.Fatalf("sending ended: %v", err)
					default:
					}
					l.says(flow)
				}
				if err := <-sending; err != nil {
					l.Errorf("sending: %v", err)
				}
			})
		})
	}
}

// TestASlowModuleHoldsNobodyUp: while one module takes 127 ms over every frame, both ways, the others answer at once.
func TestASlowModuleHoldsNobodyUp(t *testing.T) {
	inLab(t, Options{TellBegun: true}, func(l *lab) {
		l.l.Pair(door)
		slow := l.sends(engine, numbered(90)) // 13 frames
		l.says("7E8#30007F")
		l.says("7E8#1059010203040506") // 89 bytes, in 13 frames
		if m := l.gets(); m.Begun != 89 || m.Address != engine || len(m.Data) > 0 {
			l.Fatalf("received %+v, want that 89 bytes have begun", m)
		}
		rest := make(chan struct{})
		go func() {
			defer close(rest)
			frames, _ := Segment(numbered(89), Layout{Short: true})
			for _, data := range frames[1:] {
				<-time.After(127 * time.Millisecond)
				f := can.Frame{ID: 0x7E8, Length: uint8(len(data))}
				copy(f.Data[:], data)
				if err := l.car.Send(l.Context(), f); err != nil {
					l.Error(err)
				}
			}
		}()
		for i := range 40 { // the car's end of the wire holds 256 frames
			begun := time.Now()
			done := l.sends(door, numbered(20))
			l.says("765#3000F5")
			if err := <-done; err != nil {
				l.Fatal(err)
			}
			if d := time.Since(begun); d != 500*time.Microsecond {
				l.Fatalf("request %d took %v, want the 500 us that its module asks for", i, d)
			}
			l.says("765#1014010203040506", "765#210708090A0B0C0D", "765#220E0F1011121314")
			if m := l.gets(); m.Begun != 20 {
				l.Fatalf("received %+v", m)
			}
			if m := l.received(door, numbered(20)); m.At.Sub(begun) != 500*time.Microsecond {
				l.Fatalf("answer %d came after %v", i, m.At.Sub(begun))
			}
			l.after(9500 * time.Microsecond)
		}
		l.after(time.Second)
		<-rest
		if m := l.received(engine, numbered(89)); m.At.Sub(l.start) != 12*127*time.Millisecond {
			l.Errorf("the slow answer was whole after %v, want 1.524s", m.At.Sub(l.start))
		}
		if err := <-slow; err != nil {
			l.Error(err)
		}
		if n := slices.IndexFunc(l.bus.Entries(), func(e bustest.Entry) bool { return e.Frame.ID == 0x7E0 && e.Frame.Data[0] == 0x2C }); n < 0 {
			l.Error("the last frame of the slow request is missing")
		}
	})
}

// TestTimersAreNamed: the reader of an error learns which of the standard's timers ran out (clause 9.8.2).
func TestTimersAreNamed(t *testing.T) {
	for name, err := range map[string]error{"N_As": ErrTimeoutAs, "N_Ar": ErrTimeoutAr, "N_Bs": ErrTimeoutBs, "N_Cr": ErrTimeoutCr} {
		for other := range map[string]bool{"N_As": true, "N_Ar": true, "N_Bs": true, "N_Cr": true} {
			if strings.Contains(err.Error(), other) != (name == other) {
				t.Errorf("%q is to name %s alone", err, name)
			}
		}
	}
	if !errors.Is(ErrTimeoutAs, ErrTimeoutA) || !errors.Is(ErrTimeoutAr, ErrTimeoutA) || errors.Is(ErrTimeoutAr, ErrTimeoutAs) {
		t.Error("N_As and N_Ar are two timers with one result, N_TIMEOUT_A (clause 8.3.7)")
	}
}

// TestOneAnswerIdentifierForTwo: two long requests whose flow control would come on the same identifier take turns.
func TestOneAnswerIdentifierForTwo(t *testing.T) {
	inLab(t, Options{Short: true}, func(l *lab) {
		twin := engine
		twin.Request = link.ID11(0x7D0)
		first, second := l.sends(engine, numbered(8)), l.sends(twin, numbered(8))
		l.wrote("0 7E0#1008010203040506")
		l.says("7E8#300000")
		if err := <-first; err != nil {
			l.Error(err)
		}
		synctest.Wait()
		l.says("7E8#300000")
		if err := <-second; err != nil {
			l.Error(err)
		}
		l.wrote("0 7E0#1008010203040506", "0 7E0#210708", "0 7D0#1008010203040506", "0 7D0#210708")
	})
}

// TestAllModulesAnswerAtLength: one request to all, and eight long answers whose frames come in turns (ISO 15765-4:
// up to eight modules answer). Each gets flow control on its own request identifier and none on the one that all hear.
func TestAllModulesAnswerAtLength(t *testing.T) {
	for _, c := range []struct {
		name    string
		to      link.Address
		module  func(i uint32) link.Address
		request string
	}{
		{"11 bits", link.Functional11(), func(i uint32) link.Address { return link.Physical(link.ID11(0x7E0+i), link.ID11(0x7E8+i)) }, "0 7DF#0209025555555555"},
		{"29 bits, normal fixed", link.Functional29(), func(i uint32) link.Address {
			return link.Physical(link.ID29(0x18DA00F1|(0x10+i)<<8), link.ID29(0x18DAF110+i))
		}, "0 18DB33F1#0209025555555555"},
		{"29 bits, mixed", link.Address{Mode: link.Mixed, Functional: true, Request: link.ID29(0x18CD33F1), Target: 0x5A}, func(i uint32) link.Address {
			return link.Address{Mode: link.Mixed, Request: link.ID29(0x18CE00F1 | (0x10+i)<<8), Answer: link.ID29(0x18CEF110 + i), Target: 0x5A, Source: 0x5A}
		}, "0 18CD33F1#5A02090255555555"},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, Options{}, func(l *lab) {
				if err := <-l.sends(c.to, []byte{0x09, 0x02}); err != nil {
					l.Fatal(err)
				}
				want := []string{c.request}
				var answers [8][][]byte
				for i := range answers {
					a := c.module(uint32(i))
					answers[i], _ = Segment(numbered(20+i), Layout{Extended: a.Headed(), Address: a.Source, Pad: 0xAA})
					extension := ""
					if a.Headed() {
						extension = "5A"
					}
					want = append(want, "0 "+a.Request.String()+"#"+extension+"3000005555555555"[:16-len(extension)])
				}
				for turn := range 5 {
					for i, frames := range answers {
						if turn < len(frames) {
							a := c.module(uint32(i))
							l.says(fmt.Sprintf("%s#%X", a.Answer, frames[turn]))
						}
					}
				}
				l.wrote(want...)
				var seen [8]bool
				for range answers {
					m := l.gets()
					i := len(m.Data) - 20
					if i < 0 || i > 7 || seen[i] || m.Address != c.module(uint32(i)) || !slices.Equal(m.Data, numbered(20+i)) {
						l.Fatalf("received %+v", m)
					}
					seen[i] = true
				}
				l.silent()
			})
		})
	}
}

package simcar

import (
	"context"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/bus"

	"go.einride.tech/can"
)

// typed types lines into a serial-line adapter and returns all that comes, with \r as | and the bell as !.
func typed(t *testing.T, o SLCANOptions, send []can.Frame, lines ...string) string {
	t.Helper()
	mine, theirs := net.Pipe()
	its, peer := bus.Pair()
	ctx, cancel := context.WithCancel(t.Context())
	var owned sync.WaitGroup
	owned.Go(func() { PlaySLCAN(ctx, theirs, its, o) })
	var got strings.Builder
	owned.Go(func() { _, _ = io.Copy(&got, mine) }) // it ends with the pipe
	for _, l := range lines {
		if l == "<" {
			if err := peer.Send(t.Context(), send[0]); err != nil {
				t.Fatal(err)
			}
			send = send[1:]
		} else if _, err := io.WriteString(mine, l+"\r"); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		<-time.After(time.Millisecond)
	}
	cancel()
	owned.Wait()
	peer.Close()
	return strings.NewReplacer("\r", "|", "\a", "!").Replace(got.String())
}

// Answers as the public descriptions of the command set have them, from memory; frames and reports as in the comments of
// the Linux kernel's slcan driver.
func TestSLCANDevice(t *testing.T) {
	one := []can.Frame{{ID: 0x7E8, Length: 2, Data: can.Data{0xCA, 0xFE}}, {ID: 0x18DAF110, IsExtended: true, Length: 1, Data: can.Data{7}}, {ID: 0x123, IsRemote: true, Length: 4}}
	for name, c := range map[string]struct {
		o     SLCANOptions
		lines string
		want  string
	}{
		"version and number":      {SLCANOptions{}, "V N", "V1013|NRB01|"},
		"opens and closes":        {SLCANOptions{}, "S6 O C C", "|||!"},
		"closed it does nothing":  {SLCANOptions{}, "C F t1230 O O S6", "!!!|!!"},
		"frames of all kinds":     {SLCANOptions{}, "S6 O < < <", "||t7E82CAFE|T18DAF110107|r1234|"},
		"sends":                   {SLCANOptions{}, "S6 O t1230 t12320aFF T18DA10F1101 r1234 R18DA10F10", "||z|z|Z|z|Z|"},
		"refuses what is none":    {SLCANOptions{}, "S6 O t12 t1239 t12310 t123100FF t8000 T200000000 r12311 tXYZ0 Q", "||!!!!!!!!!"},
		"listens":                 {SLCANOptions{}, "S6 L < t1230 F C", "||t7E82CAFE|!F00||"},
		"no listening":            {SLCANOptions{NoListen: true}, "S6 L", "|!"},
		"no flags":                {SLCANOptions{NoFlags: true}, "S6 O F", "||!"},
		"mute":                    {SLCANOptions{Mute: true}, "V S6 O < t1230", "V1013|t7E82CAFE|"},
		"stamps":                  {SLCANOptions{}, "Z1 S6 O < C Z0 O <", "|||t7E82CAFE0003||||T18DAF110107|"},
		"another rate":            {SLCANOptions{BusRate: 250_000}, "S6 O < F F S5 C S5 O <", "||F80|F00|!|||T18DAF110107|"},
		"registers":               {SLCANOptions{BusRate: 83_333}, "s051C O < s051C s05", "||t7E82CAFE|!!"},
		"nobody acknowledges":     {SLCANOptions{Alone: true, Reports: true}, "S6 O t1230 F", "||e1a|sp000128|z|FA6|"},
		"wrong rate, bus off":     {SLCANOptions{BusRate: 250_000, Reports: true}, "S6 O t1230 t1230 F", "||e1B|sb000256|z|!FA4|"},
		"wrong rate, while quiet": {SLCANOptions{BusRate: 250_000, Reports: true}, "S6 L <", "||e2fs|"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				if got := typed(t, c.o, one, strings.Fields(c.lines)...); got != c.want {
					t.Errorf("%s: %q, want %q", c.lines, got, c.want)
				}
			})
		})
	}
}

// A slow line can't carry a busy bus: what does not fit is lost, and told by the flags.
func TestSLCANSlowLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		many := make([]can.Frame, 40)
		lines := []string{"S6", "O"}
		for i := range many {
			many[i] = can.Frame{ID: 0x123, Length: 8}
			lines = append(lines, "<")
		}
		got := typed(t, SLCANOptions{LineRate: 9600, Buffer: 128}, many, append(lines, "F", "", "", "")...)
		if n := strings.Count(got, "t123"); n == 0 || n > 20 {
			t.Errorf("%d frames came: %q", n, got)
		}
	})
}

// FuzzSLCAN types anything: the device goes on answering, and what it puts on the bus is a frame.
func FuzzSLCAN(f *testing.F) {
	for _, s := range []string{"S6\rO\rt7E03023E00\r", "s051C\rL\rF\rC\r", "T18DA10F18\xFF\r", "Z1\rO\rrFFF8\rt1239\r\n", strings.Repeat("t", 500)} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		synctest.Test(t, func(t *testing.T) {
			mine, theirs := net.Pipe()
			its, peer := bus.Pair()
			ctx, cancel := context.WithCancel(t.Context())
			var owned sync.WaitGroup
			owned.Go(func() { PlaySLCAN(ctx, theirs, its, SLCANOptions{Reports: true}) })
			var got strings.Builder
			owned.Go(func() { _, _ = io.Copy(&got, mine) }) // it ends with the pipe
			owned.Go(func() {
				for {
					r, err := peer.Receive(ctx)
					if err != nil {
						return
					}
					if r.Frame.Validate() != nil {
						t.Errorf("%q: %+v on the bus", data, r.Frame)
					}
				}
			})
			if _, err := mine.Write(append(data, "\r\rV\r"...)); err != nil {
				t.Fatal(err)
			}
			synctest.Wait()
			cancel()
			owned.Wait()
			peer.Close()
			if !strings.HasSuffix(got.String(), "V1013\r") {
				t.Errorf("%q: the last answer is %q", data, got.String())
			}
		})
	})
}

// fullBus is a bus that never takes a frame.
type fullBus struct {
	bus.Bus
	waits chan struct{}
}

func (b fullBus) Send(ctx context.Context, _ can.Frame) error {
	b.waits <- struct{}{}
	<-ctx.Done()
	return ctx.Err()
}

// An adapter that is pulled while a frame waits for the bus says nothing more: a bell would tell that it refused the frame.
func TestSLCANPulledWhileSending(t *testing.T) {
	for range 100 {
		mine, theirs := net.Pipe()
		its, _ := bus.Pair()
		full := fullBus{its, make(chan struct{})}
		ctx, cancel := context.WithCancel(t.Context())
		var owned sync.WaitGroup
		owned.Go(func() { PlaySLCAN(ctx, theirs, full, SLCANOptions{}) })
		var got strings.Builder
		owned.Go(func() { _, _ = io.Copy(&got, mine) }) // it ends with the pipe
		if _, err := io.WriteString(mine, "O\rt7E423E00\r"); err != nil {
			t.Fatal(err)
		}
		<-full.waits
		cancel()
		owned.Wait()
		its.Close()
		if strings.Contains(got.String(), "\a") {
			t.Fatalf("%q", got.String())
		}
	}
}

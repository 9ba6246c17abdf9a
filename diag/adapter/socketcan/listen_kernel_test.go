//go:build linux

package socketcan

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.einride.tech/can"
	"golang.org/x/sys/unix"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/pause"
)

// serialRates are the bit rates behind the commands S0 to S8 of a serial-line CAN adapter (the kernel's slcan driver).
var serialRates = []int{10_000, 20_000, 50_000, 100_000, 125_000, 250_000, 500_000, 800_000, 1_000_000}

// talker is a serial-line CAN adapter on a bus where somebody talks: it hears frames at the bus's bit rate, and broken
// ones, or nothing, at others.
type talker struct {
	master *os.File
	name   string // of the interface that the kernel makes of it
	rate   int    // of the bus; 0: nobody talks
	broken bool   // it reports frames that break

	mu   sync.Mutex
	said []string // commands, as they came
	now  int
	stop context.CancelFunc // ends what the open channel says; nil while it is closed
	done sync.WaitGroup
}

// The frames that are heard: one of each width.
var talked = []can.Frame{
	{ID: 0x3D0, Length: 8, Data: can.Data{1, 2, 3, 4, 5, 6, 7, 8}},
	{ID: 0x3D1, Length: 2, Data: can.Data{0xFF, 0}},
	{ID: 0x18FEF100, IsExtended: true, Length: 8, Data: can.Data{8, 7, 6, 5, 4, 3, 2, 1}},
}

func newTalker(t *testing.T, rate int, broken bool) *talker {
	t.Helper()
	master, line, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	x := &talker{master: master, rate: rate, broken: broken}
	x.done.Go(x.run)
	t.Cleanup(func() {
		line.Close()
		master.Close()
		x.done.Wait()
	})
	x.name = attach(t, line, disciplineSLCAN)
	return x
}

func (x *talker) run() {
	defer x.silence()
	buf := make([]byte, 256)
	var text []byte
	for {
		n, err := x.master.Read(buf)
		if err != nil {
			return
		}
		for text = append(text, buf[:n]...); ; {
			command, rest, ok := bytes.Cut(text, []byte{'\r'})
			if !ok {
				break
			}
			text = rest
			x.command(string(command))
		}
	}
}

func (x *talker) command(s string) {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.said = append(x.said, s)
	switch {
	case len(s) == 2 && s[0] == 'S':
		x.now = serialRates[s[1]-'0']
	case s == "L" || s == "O":
		ctx, stop := context.WithCancel(context.Background())
		x.stop = stop
		rate := x.now
		x.done.Go(func() { x.talk(ctx, rate) })
	case s == "C" && x.stop != nil:
		x.stop()
		x.stop = nil
	}
}

func (x *talker) silence() {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.stop != nil {
		x.stop()
	}
}

// talk says a frame every 5 ms.
func (x *talker) talk(ctx context.Context, rate int) {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for i := 0; ; i++ {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		line := ""
		switch {
		case rate == x.rate:
			f := talked[i%len(talked)]
			line = fmt.Sprintf("t%03X%d%X\r", f.ID, f.Length, f.Data[:f.Length])
			if f.IsExtended {
				line = fmt.Sprintf("T%08X%d%X\r", f.ID, f.Length, f.Data[:f.Length])
			}
		case x.broken:
			line = "e1s\r" // a stuff error
		}
		if _, err := x.master.WriteString(line); err != nil {
			return
		}
	}
}

// told checks what the adapter was told since the last time. The last command may still be on its way to it.
func (x *talker) told(t *testing.T, want string) {
	t.Helper()
	got := ""
	for range 100 {
		x.mu.Lock()
		got = strings.Join(x.said, " ")
		x.mu.Unlock()
		if got == want {
			break
		}
		<-time.After(5 * time.Millisecond)
	}
	if got != want {
		t.Errorf("the adapter was told %q, want %q", got, want)
	}
	x.mu.Lock()
	defer x.mu.Unlock()
	x.said = nil
}

func infoOf(t *testing.T, name string) linkInfo {
	t.Helper()
	r, err := dialRoute()
	if err != nil {
		t.Fatal(err)
	}
	defer r.close()
	l, err := r.byName(name)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func listenTo(t *testing.T, name string, o adapter.ListenOptions) (adapter.Heard, error) {
	t.Helper()
	return Driver().(adapter.Listener).Listen(t.Context(), adapter.Place("can:"+name), o)
}

// checkHeard compares the load with the lengths of the frames that came, which repeat in a fixed order.
func checkHeard(t *testing.T, h adapter.Heard, rate int) {
	t.Helper()
	if h.BitRate != rate || h.Broken != 0 || h.Narrow < 20 || h.Wide < 10 || h.Lasted < 400*time.Millisecond {
		t.Errorf("heard %+v, want %d bit/s and both widths", h, rate)
	}
	cycle := 0
	for _, f := range talked {
		cycle += bus.FrameBits(f)
	}
	want := float64(cycle) / 0.015 / float64(rate)
	if h.Load < 0.8*want || h.Load > 1.05*want {
		t.Errorf("load %.4f, want about %.4f", h.Load, want)
	}
}

// The bit rate is found by listening: each wrong rate is left, the adapter is never told to take part ("O") nor to send
// ("t"), and the interface is left as it was found.
func TestListenKernel(t *testing.T) {
	needKernel(t)
	for _, c := range []struct {
		name   string
		rate   int
		broken bool
		rates  []int
		told   string // in order
		want   error
		most   time.Duration
	}{
		{"the first rate", 500_000, true, nil, "C S6 L C", nil, time.Second},
		{"the third rate, others break", 125_000, true, nil, "C S6 L C C S5 L C C S4 L C", nil, time.Second},
		{"the third rate, others are silent", 125_000, false, nil, "C S6 L C C S5 L C C S4 L C", nil, 2 * time.Second},
		{"rates that the adapter lacks are passed over", 1_000_000, true, []int{83_333, 33_333, 1_000_000}, "C S8 L C", nil, time.Second},
		{"a rate that is not tried", 10_000, true, []int{500_000, 250_000}, "C S6 L C C S5 L C", adapter.ErrNoRate, time.Second / 2},
		{"nobody talks", 0, false, []int{500_000, 250_000}, "C S6 L C C S5 L C", adapter.ErrSilent, 2 * time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := newTalker(t, c.rate, c.broken)
			begun := time.Now()
			h, err := listenTo(t, x.name, adapter.ListenOptions{Rates: c.rates, For: 500 * time.Millisecond})
			took := time.Since(begun)
			if !errors.Is(err, c.want) {
				t.Fatalf("heard %+v, %v; want %v", h, err, c.want)
			}
			if took > c.most {
				t.Errorf("it took %v, want less than %v", took, c.most)
			}
			if c.want == nil {
				checkHeard(t, h, c.rate)
			} else if h != (adapter.Heard{}) {
				t.Errorf("heard %+v", h)
			}
			x.told(t, c.told)
			if l := infoOf(t, x.name); l.up || l.listenOnly {
				t.Errorf("left as %+v", l)
			}
		})
	}
}

// An interface that somebody has up is heard as it is; it is changed only for a caller who says so, and put back.
func TestListenToOneInUseKernel(t *testing.T) {
	needKernel(t)
	x := newTalker(t, 250_000, true)
	configure(t, x.name, false) // 500 kbit/s
	x.told(t, "C S6 O")
	o := adapter.ListenOptions{For: 500 * time.Millisecond}
	h, err := listenTo(t, x.name, o)
	if !errors.Is(err, adapter.ErrNoRate) || h.BitRate != 500_000 || h.Broken < enoughBroken {
		t.Errorf("heard %+v, %v", h, err)
	}
	x.told(t, "")
	o.Take = true
	h, err = listenTo(t, x.name, o)
	if err != nil {
		t.Fatal(err)
	}
	checkHeard(t, h, 250_000)
	x.told(t, "C C S6 L C C S5 L C C S6 O")
	if l := infoOf(t, x.name); !l.up || l.listenOnly || l.bitRate != 500_000 {
		t.Errorf("left as %+v", l)
	}
}

// A caller who gives up gets the interface back as it was.
func TestListenGivenUpKernel(t *testing.T) {
	needKernel(t)
	x := newTalker(t, 0, false)
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	_, err := Driver().(adapter.Listener).Listen(ctx, adapter.Place("can:"+x.name), adapter.ListenOptions{})
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v", err)
	}
	if l := infoOf(t, x.name); l.up || l.listenOnly {
		t.Errorf("left as %+v", l)
	}
	x.told(t, "C S6 L C")
}

// A virtual interface has no bit rate, which is said beside what was heard on it.
func TestListenToVirtualKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	virtualCAN(t, "vcan1", false)
	a := openBus(t, "vcan0", Options{})
	ctx, cancel := context.WithCancel(t.Context())
	var owned sync.WaitGroup
	owned.Go(func() {
		for ctx.Err() == nil {
			for _, f := range talked {
				_ = a.Send(ctx, f)
			}
			_ = pause.For(ctx, 10*time.Millisecond)
		}
	})
	h, err := listenTo(t, "vcan0", adapter.ListenOptions{For: 200 * time.Millisecond})
	cancel()
	owned.Wait()
	if !errors.Is(err, adapter.ErrNoBitRate) || h.BitRate != 0 || h.Load != 0 || h.Narrow == 0 || h.Wide == 0 {
		t.Errorf("heard %+v, %v", h, err)
	}
	for name, want := range map[string]error{"vcan1": ErrDown, "vcan9": ErrNoInterface, "lo": ErrNotCAN} {
		if _, err := listenTo(t, name, adapter.ListenOptions{}); !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", name, err, want)
		}
	}
}

// Without CAP_NET_ADMIN the error names the command, and nothing is changed.
func TestListenWithoutRightsKernel(t *testing.T) {
	needKernel(t)
	x := newTalker(t, 500_000, false)
	type outcome struct {
		h   adapter.Heard
		err error
	}
	done := make(chan outcome)
	go func() {
		runtime.LockOSThread() // for good: this thread is without the right, and ends with the goroutine
		if err := drop(unix.CAP_NET_ADMIN); err != nil {
			done <- outcome{err: err}
			return
		}
		h, err := listenTo(t, x.name, adapter.ListenOptions{})
		done <- outcome{h, err}
	}()
	got := <-done
	var rights *adapter.RightsError
	if !errors.As(got.err, &rights) || !errors.Is(got.err, unix.EPERM) {
		t.Fatalf("%+v", got)
	}
	if want := "sudo ip link set " + x.name + " up type can bitrate 500000 listen-only on"; rights.Command != want {
		t.Errorf("the command is %q, want %q", rights.Command, want)
	}
	if l := infoOf(t, x.name); l.up || l.bitRate != 0 {
		t.Errorf("left as %+v", l)
	}
	x.told(t, "")
}

// drop takes one capability from this thread.
func drop(capability uint) error {
	head := unix.CapUserHeader{Version: unix.LINUX_CAPABILITY_VERSION_3}
	var sets [2]unix.CapUserData
	if err := unix.Capget(&head, &sets[0]); err != nil {
		return err
	}
	sets[capability/32].Effective &^= 1 << (capability % 32)
	return unix.Capset(&head, &sets[0])
}

package elm

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/adapter"
	"readback/diag/link"
)

// babbler is a device that says the same again and again, whatever it is asked, and never shows a prompt.
type babbler struct {
	says  string
	every time.Duration
	done  chan struct{}
	once  sync.Once
}

func newBabbler(says string, every time.Duration) *babbler {
	return &babbler{says: says, every: every, done: make(chan struct{})}
}

func (b *babbler) Read(p []byte) (int, error) {
	select {
	case <-time.After(b.every):
		return copy(p, b.says), nil
	case <-b.done:
		return 0, io.ErrClosedPipe
	}
}

func (b *babbler) Write(p []byte) (int, error) { return len(p), nil }

func (b *babbler) Close() error {
	b.once.Do(func() { close(b.done) })
	return nil
}

// TestBabbler: a device that does not stop talking is no adapter. It is left after a time, with its reason, and not listened
// to for ever.
func TestBabbler(t *testing.T) {
	for _, c := range []struct {
		name, says string
		every      time.Duration
	}{
		{"lines without an end", "7E8 03 41 00 00\r", 10 * time.Millisecond},
		{"what an adapter says", "ELM327 v2.2\r", 10 * time.Millisecond},
		{"agreement without an end", "OK\r", 10 * time.Millisecond},
		{"a line without an end", strings.Repeat("A", 64), 10 * time.Millisecond},
		{"prompts without an end", ">", 10 * time.Millisecond},
		{"a full line of frames", "t1008AABBCCDDEEFF0011\r", 250 * time.Microsecond},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
				defer cancel()
				a, err := Open(ctx, newBabbler(c.says, c.every), Options{Place: "serial:x", Name: "x"})
				if err == nil {
					a.Close()
					t.Fatal("it was taken for an adapter")
				}
				if ctx.Err() != nil || !errors.Is(err, adapter.ErrUnfit) && !errors.Is(err, errSilent) {
					t.Errorf("%v (context: %v)", err, ctx.Err())
				}
			})
		})
	}
}

// TestBabblerAtEverySpeed: at a wrong speed an adapter that listens to the bus does not hear that it shall stop. So every
// speed is tried.
func TestBabblerAtEverySpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var tried []int
		o := Options{Place: "serial:x", Name: "x", Speeds: []int{38400, 115200, 9600}, SetSpeed: func(speed int) error {
			tried = append(tried, speed)
			return nil
		}}
		if _, err := Open(t.Context(), newBabbler("7E8 03 41 00 00\r", 10*time.Millisecond), o); !errors.Is(err, errEndless) {
			t.Error(err)
		}
		if !slices.Equal(tried, o.Speeds) {
			t.Errorf("tried %v", tried)
		}
	})
}

// TestEndlessExchange: one request does not hold up the next for ever, whatever comes while its answer is awaited.
func TestEndlessExchange(t *testing.T) {
	for _, c := range []struct {
		name, says string
		every      time.Duration
	}{
		{"frames of others", "123 01 02 03 04 05 06 07 08\r", 20 * time.Millisecond},
		{"working, wait", "7E8 03 7F 22 78 00 00 00 00\r", time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &device{script: []step{{"0322F19055555555", nil}, {"0322F18755555555", says("7E8 05 62 F1 87 31 32\r" + prompt)}}}
				for at := time.Duration(0); at < 2*exchangeTime; at += c.every {
					d.script[0].say = append(d.script[0].say, piece{after: c.every, text: c.says})
				}
				a, _ := openDevice(t, d)
				begun := time.Now()
				send(t, a.Link(), link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x22, 0xF1, 0x90}})
				for {
					_, err := a.Link().Receive(t.Context())
					var alert *link.AdapterError
					if errors.As(err, &alert) {
						if alert.Text != noEnd || time.Since(begun) > exchangeTime+time.Second {
							t.Errorf("%v after %v", err, time.Since(begun))
						}
						break
					}
					if err != nil {
						t.Fatal(err)
					}
				}
				send(t, a.Link(), link.Message{Address: at(0x7E0, 0x7E8), Data: []byte{0x22, 0xF1, 0x87}})
				same(t, received(t, a.Link(), 2*time.Second), "7E8 62F1873132")
			})
		})
	}
}

// letters never end.
type letters struct{}

func (letters) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'A'
	}
	return len(p), nil
}

// said is a port that says something and takes everything.
type said struct{ io.Reader }

func (said) Write(p []byte) (int, error) { return len(p), nil }
func (said) Close() error                { return nil }

// TestLongestLine: of a line without an end no more is kept than the longest that is read, and what comes behind it is read
// again.
func TestLongestLine(t *testing.T) {
	for _, c := range []struct {
		letters int64
		want    int
	}{
		{longestLine - 1, longestLine - 1}, {longestLine, longestLine}, {longestLine + 1, longestLine}, {64 << 20, longestLine},
	} {
		w := newWire(said{io.MultiReader(io.LimitReader(letters{}, c.letters), strings.NewReader(prompt))})
		line := <-w.events
		behind := <-w.events
		if len(line.line) != c.want || !behind.prompt {
			t.Errorf("of %d letters %d were kept, want %d; then %+v", c.letters, len(line.line), c.want, behind)
		}
		if err := w.close(); err != nil {
			t.Error(err)
		}
	}
}

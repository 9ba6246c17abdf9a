package elm

import (
	"context"
	"encoding/hex"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// prompt is how an answer ends.
const prompt = "\r>"

// piece is a part of what a device says.
type piece struct {
	after time.Duration
	text  string
	hang  bool // the line is cut
	dead  bool // nothing is said any more
}

// step is a line that must come next, and what is said to it. Without a prompt in it the device works until it is
// interrupted.
type step struct {
	line string
	say  []piece
}

func says(text string) []piece { return []piece{{text: text}} }

// device is a scripted adapter. It accepts every AT command but those in at, which has its own answers; data lines and
// ATMA must be those of the script.
type device struct {
	t      *testing.T
	conn   net.Conn
	in     chan byte
	echo   bool // stuck
	split  bool // says one byte at a time
	at     map[string]string
	script []step

	mu    sync.Mutex
	lines []string
}

// attach starts a device and returns the other end of its line.
func attach(t *testing.T, d *device) net.Conn {
	t.Helper()
	mine, theirs := net.Pipe()
	d.t, d.conn, d.in = t, theirs, make(chan byte)
	ctx, stop := context.WithCancel(context.Background())
	var owned sync.WaitGroup
	owned.Go(func() { d.hear(ctx) })
	owned.Go(func() { d.run() })
	t.Cleanup(func() {
		stop()
		theirs.Close()
		owned.Wait()
		if len(d.script) > 0 {
			t.Errorf("not asked for: %v", d.script)
		}
	})
	return mine
}

func (d *device) hear(ctx context.Context) {
	defer close(d.in)
	buf := make([]byte, 64)
	for {
		n, err := d.conn.Read(buf)
		for _, b := range buf[:n] {
			select {
			case d.in <- b:
			case <-ctx.Done():
				return
			}
		}
		if err != nil {
			return
		}
	}
}

func (d *device) run() {
	var line []byte
	for b := range d.in {
		if b != '\r' {
			line = append(line, b)
			continue
		}
		text := squeeze(string(line))
		line = line[:0]
		if text == "" {
			d.t.Error("a lone carriage return, which repeats the last line")
		}
		d.mu.Lock()
		d.lines = append(d.lines, text)
		d.mu.Unlock()
		if d.echo && !d.say(text+"\r") {
			return
		}
		if !d.carryOut(text) {
			return
		}
	}
}

// carryOut answers one line; it reports whether the line still stands.
func (d *device) carryOut(text string) bool {
	if a, ok := d.at[text]; ok {
		return d.say(a + prompt)
	}
	if strings.HasPrefix(text, "AT") && text != "ATMA" {
		return d.say("OK\r" + prompt)
	}
	if text == harmless && (len(d.script) == 0 || d.script[0].line != harmless) {
		return d.say("7E8 06 41 00 BE 3F B8 13 00 \r" + prompt)
	}
	if len(d.script) == 0 || d.script[0].line != text {
		d.t.Errorf("got line %q, script %v", text, d.script)
		return d.say("?\r" + prompt)
	}
	s := d.script[0]
	d.script = d.script[1:]
	return d.play(s)
}

func (d *device) play(s step) bool {
	ready := false
	for _, p := range s.say {
		if p.after > 0 {
			select {
			case <-time.After(p.after):
			case b, ok := <-d.in:
				return ok && d.interrupted(b)
			}
		}
		if p.hang {
			d.conn.Close()
			return false
		}
		if p.dead {
			for range d.in {
			}
			return false
		}
		if !d.say(p.text) {
			return false
		}
		ready = strings.Contains(p.text, ">")
	}
	if ready {
		return true
	}
	b, ok := <-d.in
	return ok && d.interrupted(b)
}

// interrupted: only a space may come before the prompt.
func (d *device) interrupted(b byte) bool {
	if b != ' ' {
		d.t.Errorf("got %q before the prompt", b)
	}
	return d.say("STOPPED\r" + prompt)
}

func (d *device) say(text string) bool {
	parts := []string{text}
	if d.split {
		parts = strings.Split(text, "")
	}
	for _, p := range parts {
		if _, err := d.conn.Write([]byte(p)); err != nil {
			return false
		}
	}
	return true
}

// heard are the lines that have come since the last call.
func (d *device) heard() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := d.lines
	d.lines = nil
	return out
}

// version etc. that a device says unless a test says otherwise.
func defaults(more map[string]string) map[string]string {
	at := map[string]string{"ATI": "ELM327 v1.5\r", "ATRV": "12.3V\r", "ATDPN": "A6\r", "ATWS": "\r\rELM327 v1.5\r"}
	for k, v := range more {
		at[k] = v
	}
	return at
}

// openDevice opens a scripted device.
func openDevice(t *testing.T, d *device) (*Adapter, *taps) {
	t.Helper()
	d.at = defaults(d.at)
	tap := &taps{}
	a, err := Open(t.Context(), attach(t, d), Options{Place: "serial:test", Tap: tap})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	d.heard()
	tap.take()
	return a, tap
}

// text is a message as sender and payload.
func text(answer fmt.Stringer, data []byte) string {
	return answer.String() + " " + strings.ToUpper(hex.EncodeToString(data))
}

func contains(lines []string, line string) bool { return slices.Contains(lines, line) }

package simcar

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"readback/diag/bus"
	"readback/diag/link"

	"go.einride.tech/can"
)

// small is a scenario with one module, "m", at 7E0/7E8 that answers after 5 ms; each test patches it.
const small = `{"version":1,"vin":"0TNCE23E3P0004217","odometer":41206,"bitRate":500000,"supply":12.6,"outside":7,
	"on":true,"onFor":40,"gearing":84,"modules":{"m":{"request":"7E0","answer":"7E8","functional":true,"delay":5,
	"room":255,"mask":"FF","format":"01"}}}`

// carOf makes a car of the small scenario and a JSON Merge Patch on it.
func carOf(t *testing.T, change string) *Car {
	t.Helper()
	s, err := scenarioOf(change)
	if err != nil {
		t.Fatal(err)
	}
	return New(s)
}

func scenarioOf(change string) (*Scenario, error) {
	doc, err := merged([]byte(small), nil)
	if err != nil {
		return nil, err
	}
	if change != "" {
		over, err := merged([]byte(change), nil)
		if err != nil {
			return nil, err
		}
		doc = patch(doc, over)
	}
	return decode("test", doc)
}

func load(t *testing.T, name string) *Car {
	t.Helper()
	s, err := Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return New(s)
}

func (c *Car) module(name string) *module {
	for _, m := range c.modules {
		if m.name == name {
			return m
		}
	}
	return nil
}

// asked are the messages that answer a request to one module, in hex, joined by "|".
func asked(c *Car, name, request string) string { return answers(c, name, request, false) }

// askedAll is the same for a request to all modules.
func askedAll(c *Car, name, request string) string { return answers(c, name, request, true) }

func answers(c *Car, name, request string, functional bool) string {
	var out []string
	for _, r := range c.handle(c.module(name), unhex(request), functional) {
		out = append(out, fmt.Sprintf("%X", r.data))
	}
	return strings.Join(out, "|")
}

func unhex(s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		panic(err)
	}
	return b
}

// wire is the tester's end of a bus that a car serves.
type wire struct {
	t *testing.T
	bus.Bus
}

// serve lets a car serve a bus until the test ends.
func serve(t *testing.T, c *Car) wire {
	t.Helper()
	mine, cars := bus.Pair()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- c.Serve(ctx, cars) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	return wire{t, mine}
}

// frame makes a frame of "7E0 02 3E 00".
func frame(s string) can.Frame {
	word, data, _ := strings.Cut(s, " ")
	id, err := link.ParseID(word)
	if err != nil {
		panic(err)
	}
	f := can.Frame{ID: id.Value, IsExtended: id.Extended}
	f.Length = uint8(copy(f.Data[:], unhex(data)))
	return f
}

func text(f can.Frame) string {
	return fmt.Sprintf("%s % X", link.IDOf(f), f.Data[:f.Length])
}

func (w wire) say(frames ...string) {
	w.t.Helper()
	for _, s := range frames {
		if err := w.Send(w.t.Context(), frame(s)); err != nil {
			w.t.Fatal(err)
		}
	}
}

// hear collects the frames of a time, without the ordinary messages below 600.
func (w wire) hear(d time.Duration) []string {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.t.Context(), d)
	defer cancel()
	var out []string
	for {
		r, err := w.Receive(ctx)
		if err != nil {
			return out
		}
		if r.Frame.IsExtended || r.Frame.ID >= 0x600 {
			out = append(out, text(r.Frame))
		}
	}
}

// expect checks what is heard within a time.
func (w wire) expect(d time.Duration, want ...string) {
	w.t.Helper()
	got := w.hear(d)
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		w.t.Errorf("heard\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func equal(t *testing.T, what, got, want string) {
	t.Helper()
	if want = strings.ReplaceAll(want, " ", ""); got != want {
		t.Errorf("%s: got %s, want %s", what, got, want)
	}
}

// statusOf reads the status of a code as the module keeps it, after its due tests.
func statusOf(c *Car, name, code string) status {
	b, _ := parseCode(code)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance(time.Now())
	for _, t := range c.module(name).troubles {
		if bytes.Equal(t.code[:], b[:]) {
			return t.status
		}
	}
	return 0xFF
}

// timeout is a context that ends after a time.
func timeout(t *testing.T, d time.Duration) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), d)
	t.Cleanup(cancel)
	return ctx
}

func equalJSON(a, b any) bool {
	x, errX := json.Marshal(a)
	y, errY := json.Marshal(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}

// pass lets the bubble's time go by.
func pass(d time.Duration) { <-time.After(d) }

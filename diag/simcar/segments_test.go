package simcar

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag/bus"

	"go.einride.tech/can"
)

// The sources of these vectors stand in the head of the file.
//
//go:embed testdata/segments.txt
var segments string

// eachSegmented calls f for every vector in the file.
func eachSegmented(t *testing.T, f func(payload []byte, pad *Byte, frames []string)) {
	n := 0
	for line := range strings.Lines(segments) {
		fields := strings.Fields(line)
		if line[0] == '#' {
			continue
		}
		var pad *Byte
		if fields[1] != "-" {
			pad = new(Byte)
			if err := pad.UnmarshalText([]byte(fields[1])); err != nil {
				t.Fatal(err)
			}
		}
		f(unhex(fields[0]), pad, strings.Split(fields[2], ","))
		n++
	}
	if n != 44 {
		t.Errorf("%d vectors, want 44", n)
	}
}

// portOf is the port of the small scenario's module, and the tester's end of its bus.
func portOf(t *testing.T, pad *Byte) (*port, wire) {
	c := carOf(t, `{"modules":{"m":{"room":4095}}}`)
	m := c.module("m")
	m.spec.Padding = pad
	mine, theirs := bus.Pair()
	return newPort(c, m, theirs), wire{t, mine}
}

func TestAnswersAreCut(t *testing.T) {
	eachSegmented(t, func(payload []byte, pad *Byte, frames []string) {
		synctest.Test(t, func(t *testing.T) {
			p, w := portOf(t, pad)
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			done := make(chan bool)
			go func() { done <- p.send(ctx, payload) }()
			for i, want := range frames {
				r, err := w.Receive(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if got := fmt.Sprintf("%X", r.Frame.Data[:r.Frame.Length]); got != want {
					t.Fatalf("%d bytes, frame %d: %s, want %s", len(payload), i, got, want)
				}
				if i == 0 && len(frames) > 1 {
					p.offer(frame("7E0 30 00 00"))
				}
			}
			if !<-done {
				t.Errorf("%d bytes: not finished", len(payload))
			}
		})
	})
}

func TestRequestsArePutTogether(t *testing.T) {
	eachSegmented(t, func(payload []byte, _ *Byte, frames []string) {
		synctest.Test(t, func(t *testing.T) {
			p, w := portOf(t, nil)
			done := make(chan []byte)
			first := true
			go func() {
				f, _ := p.next(t.Context(), nil)
				req, _ := p.receive(t.Context(), f)
				done <- req
			}()
			for _, s := range frames {
				f := can.Frame{ID: 0x7E0}
				f.Length = uint8(copy(f.Data[:], unhex(s)))
				p.offer(f)
				synctest.Wait()
				if first && len(frames) > 1 {
					if r, err := w.Receive(t.Context()); err != nil || text(r.Frame) != "7E8 30 00 00" {
						t.Errorf("flow control %s, %v", text(r.Frame), err)
					}
				}
				first = false
			}
			if req := <-done; !bytes.Equal(req, payload) {
				t.Errorf("%d bytes: got % X", len(payload), req)
			}
		})
	})
}

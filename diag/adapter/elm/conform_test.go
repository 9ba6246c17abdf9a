package elm

import (
	"context"
	"encoding/hex"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"

	"go.einride.tech/can"

	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/link/linktest"
)

func TestConform(t *testing.T) {
	for _, poor := range []bool{false, true} {
		t.Run(fmt.Sprintf("poor adapter %t", poor), func(t *testing.T) {
			linktest.ConformInBubble(t, func(t testing.TB) (link.Link, linktest.Peer) {
				mine, theirs := net.Pipe()
				e := &farEnd{conn: theirs, poor: poor, requests: make(chan link.Message, 16)}
				var owned sync.WaitGroup
				owned.Go(func() { e.hear(e.carryOut) })
				t.Cleanup(func() {
					theirs.Close()
					owned.Wait()
				})
				a, err := Open(context.Background(), mine, Options{})
				if err != nil {
					t.Fatal(err)
				}
				return a.Link(), e
			})
		})
	}
}

// farEnd is an adapter and the modules behind it, whose answers the kit gives. A poor one refuses CAF0.
type farEnd struct {
	conn     net.Conn
	poor     bool
	requests chan link.Message

	mu      sync.Mutex
	wide    bool
	header  link.ID
	silent  bool // R0
	busy    bool // no prompt shown
	partial *isotp.Reassembler
}

func (e *farEnd) Abilities() linktest.Abilities {
	a := linktest.Abilities{
		Modules:    []link.Address{at(0x7E0, 0x7E8), at(0x745, 0x765), link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110))},
		Functional: link.Functional11(), LongestRequest: maxLength, LongestAnswer: 4095, Tears: true,
	}
	if e.poor {
		a.LongestRequest = 7
	}
	return a
}

func (e *farEnd) Request(ctx context.Context) (link.Message, error) {
	select {
	case m := <-e.requests:
		return m, nil
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	}
}

func (e *farEnd) Answer(_ context.Context, a link.Address, data []byte) error {
	return e.frames(a, data, len(data))
}

func (e *farEnd) Tear(_ context.Context, a link.Address, data []byte) error {
	return e.frames(a, data, 2)
}

// frames shows the first of the frames of an answer.
func (e *farEnd) frames(a link.Address, data []byte, most int) error {
	fields, err := isotp.Segment(data, isotp.Layout{Pad: 0xAA})
	if err != nil {
		return err
	}
	for _, f := range fields[:min(most, len(fields))] {
		if err := e.say(a.Answer.String() + typed(f) + "\r"); err != nil {
			return err
		}
	}
	return nil
}

func (e *farEnd) Done(context.Context) error { return e.ready("") }

// ready shows the prompt if it is due.
func (e *farEnd) ready(before string) error {
	e.mu.Lock()
	was := e.busy
	e.busy = false
	e.mu.Unlock()
	if !was {
		return nil
	}
	return e.say(before + prompt)
}

func (e *farEnd) say(text string) error {
	_, err := e.conn.Write([]byte(text))
	return err
}

// hear hands what is typed to carryOut, line by line.
func (e *farEnd) hear(carryOut func(string) error) {
	var line []byte
	buf := make([]byte, 256)
	for {
		n, err := e.conn.Read(buf)
		for _, b := range buf[:n] {
			switch b {
			case ' ':
				if e.ready("STOPPED\r") != nil {
					return
				}
			case '\r':
				text := string(line)
				line = line[:0]
				if carryOut(text) != nil {
					return
				}
			default:
				line = append(line, b)
			}
		}
		if err != nil {
			return
		}
	}
}

func (e *farEnd) carryOut(text string) error {
	e.mu.Lock()
	e.busy = true
	e.mu.Unlock()
	known := defaults(nil)
	switch {
	case text == "ATMA":
		return nil
	case text == "ATCAF0" && e.poor:
		return e.ready("?\r")
	case known[text] != "":
		return e.ready(known[text])
	case strings.HasPrefix(text, "AT"):
		e.set(text[2:])
		return e.ready("OK\r")
	case text == harmless:
		return e.ready("7E8064100BE3FB81300\r")
	}
	return e.request(text)
}

func (e *farEnd) set(text string) {
	arg := func(prefix string) (string, bool) { return strings.CutPrefix(text, prefix) }
	if p, ok := arg("SP"); ok {
		e.wide = p == "7"
	}
	if h, ok := arg("SH"); ok {
		if e.wide {
			h = "18" + h
		}
		e.header, _ = link.ParseID(h)
	}
	if r, ok := arg("R"); ok {
		e.silent = r == "0"
	}
}

// request takes one typed frame of a request.
func (e *farEnd) request(text string) error {
	data, err := hex.DecodeString(text[:len(text)&^1])
	if err != nil || len(data) > can.MaxDataLength {
		return e.ready("?\r")
	}
	m := link.Message{Address: link.Address{Request: e.header}, Exact: data}
	if e.poor {
		m.Data, m.Exact = data, nil
		e.requests <- m
		return nil
	}
	if e.partial == nil {
		e.partial = isotp.NewReassembler(false, maxLength)
	}
	switch s := e.partial.Frame(data); s.Event {
	case isotp.Completed:
		m.Data = s.Message
		if data[0]>>4 != 0 {
			m.Exact = nil
		}
		e.requests <- m
		if e.silent {
			return e.ready("")
		}
		return nil
	case isotp.Began:
		for _, a := range e.Abilities().Modules {
			if a.Request == e.header {
				return e.ready(a.Answer.String() + "300000\r")
			}
		}
	}
	return e.ready("")
}

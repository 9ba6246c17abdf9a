package elm

import (
	"context"
	"encoding/hex"
	"net"
	"strings"
	"sync"
	"testing"

	"readback/diag/link"
	"readback/diag/link/linktest"
)

// The kit on ISO 14230: the longest message there has 255 bytes (ISO 14230-2).
func TestConformWithHeaders(t *testing.T) {
	linktest.ConformInBubble(t, func(t testing.TB) (link.Link, linktest.Peer) {
		mine, theirs := net.Pipe()
		e := &lineEnd{farEnd{conn: theirs, requests: make(chan link.Message, 16)}}
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
}

// lineEnd is an adapter on ISO 14230 with the fast start, and the modules behind it.
type lineEnd struct{ farEnd }

func (e *lineEnd) Abilities() linktest.Abilities {
	return linktest.Abilities{
		Modules: []link.Address{link.AtHeader(0x10), link.AtHeader(0x28)}, Functional: link.AllAtHeader(),
		LongestRequest: 7, LongestAnswer: 255,
	}
}

// Answer shows a message with its header: the length is in the first byte up to 63, and in a fourth one above.
func (e *lineEnd) Answer(_ context.Context, a link.Address, data []byte) error {
	head := []byte{0x80, 0xF1, byte(a.Answer.Value)}
	if len(data) < 0x40 {
		head[0] |= byte(len(data))
	} else {
		head = append(head, byte(len(data)))
	}
	sum := byte(0)
	whole := append(head, data...)
	for _, b := range whole {
		sum += b
	}
	return e.say(typed(append(whole, sum)) + "\r")
}

func (e *lineEnd) carryOut(text string) error {
	e.mu.Lock()
	e.busy = true
	e.mu.Unlock()
	known := defaults(map[string]string{"ATDPN": "A5\r", "ATFI": "BUS INIT: OK\r"})
	switch {
	case text == "ATMA":
		return nil
	case known[text] != "":
		return e.ready(known[text])
	case strings.HasPrefix(text, "ATSH"):
		head, err := hex.DecodeString(text[4:])
		if err != nil || len(head) != 3 {
			return e.ready("?\r")
		}
		e.header = link.AtHeader(head[1]).Request
		if head[0] >= 0xC0 {
			e.header = link.AllAtHeader().Request
		}
		return e.ready("OK\r")
	case strings.HasPrefix(text, "AT"):
		return e.ready("OK\r")
	case text == harmless:
		return e.ready(iso4 + "\r")
	}
	data, err := hex.DecodeString(text)
	if err != nil || len(data) > mostData {
		return e.ready("?\r")
	}
	e.requests <- link.Message{Address: link.Address{Request: e.header}, Data: data}
	return nil
}

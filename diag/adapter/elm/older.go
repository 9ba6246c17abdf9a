package elm

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"readback/diag/link"
)

// On a bus with header bytes there are no frames: a request is typed as its payload, and the adapter shows an answer as
// one line with its header. [link.AtHeader] tells how addresses are written; an address of 29-bit CAN with the same two
// identifiers stands for the same module.

// startedAll stands for a conversation that was opened with all modules.
const startedAll = "all"

const (
	// headerWait is the least that the adapter waits for an answer: P2 of 50 ms, the answer itself at 10.4 kbit/s, and
	// the gap before the next module's; 200 ms is also its own (data sheet, AT ST).
	headerWait = 200 * time.Millisecond
	// startTime is how long the adapter may be quiet while it opens a conversation (slow: 2 s for the address at 5 bit/s,
	// and it tries again; from memory).
	startTime = 10 * time.Second
)

// headerRequest checks a request for a bus with header bytes. Beside what only looks, nothing but the two services that
// erase codes passes here, whatever the permit says.
func (c *conversation) headerRequest(m link.Message) error {
	a, b := m.Address, c.p.header
	target := a.Request.Value >> 8 & 0xFF
	refuse := func(format string, args ...any) error {
		return fmt.Errorf("%w: %w", link.ErrNotSent, &link.AdapterError{Op: "addressing " + a.String(), Text: fmt.Sprintf(format, args...)})
	}
	all := a.Request == link.AllAtHeader().Request
	switch {
	case m.Exact != nil:
		return fmt.Errorf("%w: %s has no frames of CAN", link.ErrNotExact, b.name)
	case len(m.Data) == 0:
		return refuse("an empty request")
	case !all && a.Request != link.AtHeader(byte(target)).Request || all != a.Functional:
		return refuse("%s has no such address", b.name)
	case !all && b.one == 0:
		return refuse("%s has no requests to one module", b.name)
	case len(m.Data) > mostData:
		return tooLong(len(m.Data), fmt.Sprintf("%d go into a line", mostData))
	case !headerMay(m.Data, b.counted):
		return refuse("%s does not carry service %02X here", b.name, m.Data[0])
	}
	return nil
}

// headerMay reports the requests that go out on a bus with header bytes: those of SAE J1979 but for 08, and on ISO 14230
// those of ISO 14230-3 that read, go back to the standard session, or erase codes.
func headerMay(p []byte, kwp bool) bool {
	switch p[0] {
	case 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x09, 0x0A:
		return true
	case 0x10:
		return kwp && len(p) == 2 && p[1] == 0x81
	case 0x12, 0x13, 0x14, 0x17, 0x18, 0x1A, 0x20, 0x21, 0x3E, 0x82:
		return kwp
	case 0x22:
		return len(p) >= 3 && len(p)%2 == 1
	}
	return false
}

// headerSteps set the adapter up for a request.
func (c *conversation) headerSteps(ctx context.Context, m link.Message) []func() error {
	a := m.Address
	target := byte(a.Request.Value >> 8)
	return []func() error{
		func() error { return c.apply(ctx, "protocol", "ATSP"+string(c.p.number)) },
		func() error {
			head := c.p.header.head(a.Functional, target)
			return c.apply(ctx, "header", "ATSH"+typed(head[:]))
		},
		func() error { return c.open(ctx, a) },
		func() error {
			act := m.Data[0] == 0x04 || m.Data[0] == 0x14
			return c.apply(ctx, "wait", waitLine(headerTime(m.Wait, act)))
		},
	}
}

// headerTime: an act gets the longest wait there is, so that a late answer still finds the adapter listening.
func headerTime(wait time.Duration, act bool) time.Duration {
	if act || wait == 0 || wait > longestWait {
		return longestWait
	}
	return max(wait-lineDelay, headerWait)
}

// open opens the conversation with one module of a serial line, or with all, where another one is open. The request
// would make the adapter do that by itself, but then within the time that its sender waits for the answer. A module that
// does not take part is told as a [link.SilenceError].
func (c *conversation) open(ctx context.Context, a link.Address) error {
	b, want := c.p.header, startedAll
	if !a.Functional {
		want = a.Request.String()
	}
	if b.starts == "" || c.set["started"] == want {
		return nil
	}
	delete(c.set, "started")
	lines := []string{"ATPC"}
	if b.starts == "ATSI" { // the slow start calls an address of its own
		lines = append(lines, fmt.Sprintf("ATIIA%02X", byte(a.Request.Value>>8)))
	}
	for _, l := range lines {
		if _, err := c.try(ctx, l); err != nil {
			return err
		}
	}
	answer, err := c.w.command(ctx, b.starts, startTime)
	c.notice(answer)
	if err != nil {
		return err
	}
	for _, l := range answer {
		switch m := meaningOf(l); {
		case m == trouble && !a.Functional:
			return &link.SilenceError{Address: a, Text: l}
		case m == trouble || m == stopped:
			return &link.AdapterError{Op: "opening the conversation", Text: l}
		}
	}
	c.set["started"] = want // an adapter that does not know the command does it with the request
	return nil
}

// beginHeader is begin for a bus with header bytes.
func (c *conversation) beginHeader(ctx context.Context, m link.Message) (*exchange, error) {
	if err := c.headerRequest(m); err != nil {
		return nil, err
	}
	if err := c.prepare(ctx, c.headerSteps(ctx, m)); err != nil {
		return nil, fmt.Errorf("%w: %w", link.ErrNotSent, err)
	}
	c.learn(m.Address)
	x := newExchange(m)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	c.notice(c.w.drain())
	x.sent = typed(m.Data)
	if err := c.w.ask(x.sent); err != nil {
		return nil, err
	}
	if m.Data[0] == 0x82 { // stopCommunication of ISO 14230-2
		delete(c.set, "started")
	}
	if m.Wait > longestWait {
		x.until = time.Now().Add(m.Wait)
	}
	return x, nil
}

// parts are the messages of one module's answer so far.
type parts struct {
	from link.Address
	list [][]byte
	at   time.Time
}

// headerLine takes a line that may be a message.
func (c *conversation) headerLine(x *exchange, e event, m meaning) {
	h, err := c.p.header.parse(e.line, c.sums)
	switch {
	case err == nil:
		c.headerMessage(x, h, e.at)
	case m == plain && x.cut.IsZero() && !errors.Is(err, errForeign):
		c.loses()
		x.spoil(e.line)
	}
}

func (c *conversation) headerMessage(x *exchange, h heard, at time.Time) {
	from := link.AtHeader(h.source)
	if a, ok := c.pairs[from.Answer]; ok {
		from = a
	}
	data := h.data
	switch {
	case data[0]&0x40 == 0: // a request, to another tester or of one
		return
	case data[0] == 0x7F && len(data) > 3 && !c.p.header.counted:
		// SAE J1850 repeats the request in a refusal; the reason stands last (from memory of SAE J2190).
		data = []byte{data[0], data[1], data[len(data)-1]}
	case several(data[0]) && data[0] == x.m.Data[0]|0x40:
		c.part(x, from, data, at)
		return
	}
	m := link.Message{Address: from, Data: data, At: at}
	x.complete(from.Answer, m)
	c.deliver(result{m: m})
}

// part keeps a message of an answer that may have more; the first of them tells the receiver to go on waiting.
func (c *conversation) part(x *exchange, from link.Address, data []byte, at time.Time) {
	delete(x.pending, from.Answer)
	x.answers++
	i := slices.IndexFunc(x.parts, func(p *parts) bool { return p.from.Answer == from.Answer })
	if i < 0 {
		x.parts = append(x.parts, &parts{from: from})
		i = len(x.parts) - 1
		c.deliver(result{m: link.Message{Address: from, At: at, Begun: len(data)}})
	}
	x.parts[i].list = append(x.parts[i].list, data)
	x.parts[i].at = at
}

// join delivers the answers of several messages, when no more can come.
func (c *conversation) join(x *exchange) {
	for _, p := range x.parts {
		data, err := joined(p.list)
		if x.alert != "" {
			err = errors.Join(err, &link.AdapterError{Op: "receiving", Text: x.alert})
		}
		if err != nil {
			got := 0
			for _, d := range p.list {
				got += len(d)
			}
			c.torn(p.from, got, 0, err)
			continue
		}
		c.deliver(result{m: link.Message{Address: p.from, Data: data, At: p.at}})
	}
	x.parts = nil
}

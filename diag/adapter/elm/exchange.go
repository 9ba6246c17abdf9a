package elm

import (
	"context"
	"fmt"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
)

const (
	// pendingTime is P2* of ISO 14229-2: a module that has said "working, wait" says more within it.
	pendingTime = 5 * time.Second
	// slack covers a slow line and the adapter's own thinking, on top of the time it was told to wait.
	slack = 3 * time.Second
	// flowTime and consecutiveTime are N_Bs and N_Cr of ISO 15765-2.
	flowTime        = time.Second
	consecutiveTime = time.Second
	// longestAnswer is accepted from a module.
	longestAnswer = 65535
	// exchangeTime is the most that one request may take: twice as long as anybody waits for its answer.
	exchangeTime = 2 * time.Minute
)

// exchange is one request and what comes back.
type exchange struct {
	m         link.Message
	until     time.Time // a first answer is waited for until then; zero: as long as the adapter waits
	most      time.Time // nothing more is waited for after that
	receivers map[link.ID]*receiver
	pending   map[link.ID]time.Time // modules that have said "working, wait", and until when they are believed
	grant     *link.Address         // waits for a flow control that we have to send
	control   *isotp.FlowControl    // flow control for a request of ours
	asking    bool                  // a segmented request is not yet complete: control is awaited
	answers   int                   // complete messages
	final     bool                  // the one module that was asked has answered
	silence   string                // the adapter's words for "nothing came"
	alert     string                // the adapter's words that ended the request
	sent      string                // the last line written, to know its echo
	cut       time.Time             // when we have interrupted the adapter; zero: not
	spoilt    string                // the first line that came and can't be read
	parts     []*parts              // on a bus with header bytes: answers of several messages
}

func newExchange(m link.Message) *exchange {
	return &exchange{m: m, most: time.Now().Add(exchangeTime), receivers: map[link.ID]*receiver{}, pending: map[link.ID]time.Time{}}
}

// spoil notes a line that can't be read.
func (x *exchange) spoil(line string) {
	if x.spoilt == "" {
		x.spoilt = clip(line)
	}
}

// receiver puts the answers of one module together.
type receiver struct {
	r      *isotp.Reassembler
	from   link.Address
	frames []can.Frame
	due    time.Time // the next frame of a message in progress must have come (N_Cr)
}

// begin sets the adapter up and writes the request. Until the last line is written an error means that the message
// has not been sent.
func (c *conversation) begin(ctx context.Context, m link.Message) (*exchange, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if c.p.header != nil {
		return c.beginHeader(ctx, m)
	}
	fields, err := c.fields(m)
	if err != nil {
		return nil, err
	}
	if err := c.prepare(ctx, c.steps(ctx, m, fields)); err != nil {
		return nil, fmt.Errorf("%w: %w", link.ErrNotSent, err)
	}
	c.learn(m.Address)
	x := newExchange(m)
	if len(fields) > 1 {
		if err := c.segments(ctx, x, fields[:len(fields)-1]); err != nil {
			return nil, err
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := c.put(x, fields[len(fields)-1], ""); err != nil {
		return nil, err
	}
	if m.Wait > longestWait {
		x.until = time.Now().Add(m.Wait)
	}
	return x, nil
}

// put writes one frame as a line and tells the tap. suffix is the count of answers to wait for, if any.
func (c *conversation) put(x *exchange, field []byte, suffix string) error {
	c.notice(c.w.drain())
	at := time.Now()
	x.sent = typed(field) + suffix
	if err := c.w.ask(x.sent); err != nil {
		return err
	}
	f := can.Frame{ID: x.m.Address.Request.Value, IsExtended: x.m.Address.Request.Extended}
	if !c.can.exact { // the adapter puts the length byte before it and fills with 00
		field = append([]byte{byte(len(field))}, field...)
		f.Length = can.MaxDataLength
		copy(f.Data[:], field)
	} else {
		f.Length = uint8(copy(f.Data[:], field))
	}
	c.show(bus.Out, f, at)
	return nil
}

// await collects the answers to a request whose line has been written, until nothing more can come. Its error ends the
// conversation.
func (c *conversation) await(x *exchange) error {
	err := c.listen(x, nil)
	for err == nil && !x.final && x.alert == "" {
		switch {
		case x.grant != nil:
			err = c.permit(x)
		case x.more().After(time.Now()):
			err = c.monitor(x, x.more)
		default:
			c.finish(x)
			return nil
		}
	}
	if err == nil {
		c.finish(x)
	}
	return err
}

// more is until when answers are still to be waited for.
func (x *exchange) more() time.Time {
	var t time.Time
	if x.answers == 0 {
		t = x.until
	}
	for _, p := range x.pending {
		t = later(t, p)
	}
	for _, r := range x.receivers {
		if _, _, ok := r.r.Pending(); ok {
			t = later(t, r.due)
		}
	}
	if t.After(x.most) {
		return x.most
	}
	return t
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// monitor listens with the same filter until a time, AT MA.
func (c *conversation) monitor(x *exchange, until func() time.Time) error {
	c.notice(c.w.drain())
	x.sent = "ATMA"
	if err := c.w.write(x.sent + "\r"); err != nil {
		return err
	}
	return c.listen(x, until)
}

// permit sends the flow control that the adapter doesn't send by itself. It is a line of its own, after which the
// adapter shows what comes.
func (c *conversation) permit(x *exchange) error {
	a := *x.grant
	x.grant = nil
	field := isotp.FlowControl{Status: isotp.ContinueToSend, Separation: c.separation()}.Encode(isotp.Layout{Extended: a.Headed(), Address: a.Target, Pad: isotp.DefaultPad})
	if err := c.put(x, field, ""); err != nil {
		return err
	}
	return c.listen(x, nil)
}

// listen reads up to the prompt. With until it is monitoring, which has to be interrupted when that time has come. It
// also interrupts the adapter when all is said and the next job waits, and when a flow control has to be sent.
func (c *conversation) listen(x *exchange, until func() time.Time) error {
	x.cut = time.Time{}
	monitoring := until != nil
	first := true
	last := time.Now()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		over := monitoring && (x.final || x.asking && x.control != nil || !time.Now().Before(until()))
		if over || x.grant != nil || x.final && c.next != nil {
			if err := c.cutShort(x); err != nil {
				return err
			}
		}
		end := c.patience(x, last)
		if monitoring && x.cut.IsZero() {
			end = until()
		}
		timer.Reset(time.Until(end))
		jobs := c.jobs
		if !x.final || c.next != nil {
			jobs = nil
		}
		select {
		case <-c.ctx.Done():
			return link.ErrClosed
		case c.next = <-jobs:
		case e, ok := <-c.w.events:
			if !ok {
				return c.w.gone()
			}
			if e.prompt {
				return nil
			}
			if x.cut.IsZero() && !e.at.Before(x.most) {
				x.alert = noEnd
				return c.stop()
			}
			last = e.at
			if !first || !isEcho(e.line, x.sent) {
				c.line(x, e)
			}
			first = false
		case <-timer.C:
			if monitoring && x.cut.IsZero() {
				continue
			}
			x.alert = noPrompt
			return c.stop()
		}
	}
}

// noPrompt and noEnd stand for the words of an adapter that has none.
const (
	noPrompt = "no prompt"
	noEnd    = "no end"
)

// patience is until when the adapter must have said something.
func (c *conversation) patience(x *exchange, last time.Time) time.Time {
	switch {
	case !x.cut.IsZero():
		return x.cut.Add(stopTime)
	case len(x.pending) > 0: // some adapters wait for P2* by themselves
		return last.Add(pendingTime + slack)
	case c.p.header != nil: // it may have to open the conversation anew
		return last.Add(startTime + slack)
	}
	return last.Add(longestWait + slack)
}

// cutShort interrupts the adapter once.
func (c *conversation) cutShort(x *exchange) error {
	if !x.cut.IsZero() {
		return nil
	}
	x.cut = time.Now()
	return c.w.write(interrupt)
}

// line takes one line of the adapter.
func (c *conversation) line(x *exchange, e event) {
	m := meaningOf(e.line)
	if c.p.header != nil && (m == plain || m == working) {
		c.headerLine(x, e, m)
		return
	}
	switch m {
	case plain, working:
		f, err := parseFrame(e.line, c.p.wide)
		switch {
		case err == nil:
			c.show(bus.In, f, e.at)
			if !c.frame(x, f, e.at) && x.cut.IsZero() {
				x.spoil(e.line)
			}
		case m == plain && x.cut.IsZero(): // a line that we have cut short ourselves is torn by right
			c.loses()
			x.spoil(e.line)
		}
	case nothing:
		x.silence = e.line
	case stopped:
		if x.cut.IsZero() {
			x.alert = e.line
		}
	case damaged:
		x.spoil(e.line)
	case lost:
		c.lost = true
		if x.alert == "" {
			x.alert = clip(e.line)
		}
	case notKnown:
		if c.can.exact && c.p.header == nil && x.answers == 0 { // a whole data field is too long for it
			c.can.exact = false
			c.seen.note(func(q *quality) { q.notExact = true })
			c.lost = true // its format is set anew
		}
		if x.alert == "" {
			x.alert = clip(e.line)
		}
	default:
		if squeeze(e.line) == bufferFull {
			c.seen.note(func(q *quality) { q.full++ })
		}
		if x.alert == "" {
			x.alert = clip(e.line)
		}
	}
}

// frame takes one frame from the bus. It is not sound when it can be no part of an answer although the filter lets through
// nothing else, or breaks the form of its transport.
func (c *conversation) frame(x *exchange, f can.Frame, at time.Time) (sound bool) {
	from, ok := c.sender(f)
	id := link.IDOf(f)
	if !ok || f.IsRemote || c.strange(x, id) {
		return !c.strange(x, id)
	}
	r := x.receivers[id]
	if r == nil {
		r = &receiver{r: isotp.NewReassembler(from.Headed(), longestAnswer), from: from}
		x.receivers[id] = r
	}
	if from.Headed() && (f.Length == 0 || f.Data[0] != from.Source) {
		return true // of another conversation on the same identifier
	}
	s := r.r.Frame(f.Data[:f.Length])
	if s.Cause != nil {
		c.loses()
		r.frames = nil
		c.torn(from, s.Got, s.Of, s.Cause)
	}
	switch s.Event {
	case isotp.Completed:
		m := link.Message{Address: from, Data: s.Message, At: at, Frames: append(r.frames, f)}
		if len(m.Frames) > 1 {
			c.seen.note(func(q *quality) { q.whole, q.longest = q.whole+1, max(q.longest, len(m.Data)) })
		}
		r.frames = nil
		x.complete(id, m)
		c.deliver(result{m: m})
	case isotp.Began:
		r.frames, r.due = append(r.frames[:0], f), at.Add(consecutiveTime)
		if c.can.exact && !c.selfFlow(from) && !from.Request.IsZero() && from.Request == x.m.Address.Request {
			x.grant = &from
		}
	case isotp.Continued:
		r.frames, r.due = append(r.frames, f), at.Add(consecutiveTime)
	case isotp.TooLong:
		r.frames = nil
		c.torn(from, 0, s.Want, isotp.ErrOverflow)
	case isotp.Flow:
		if from.Answer == x.m.Address.Answer {
			x.control = &s.Control
		}
	case isotp.Ignored:
		return false
	}
	return true
}

// strange: the frame has another identifier than the one that the filter lets through.
func (c *conversation) strange(x *exchange, id link.ID) bool {
	a := x.m.Address
	return !a.Functional && !a.Answer.IsZero() && id != a.Answer && c.set["filter"] == "ATCRA"+a.Answer.String()
}

// complete counts an answer and sees whether it is the last one.
func (x *exchange) complete(id link.ID, m link.Message) {
	x.answers++
	if len(m.Data) >= 3 && m.Data[0] == 0x7F && m.Data[2] == 0x78 {
		x.pending[id] = m.At.Add(pendingTime)
		return
	}
	own := len(m.Data) > 0 && len(x.m.Data) > 0 &&
		(m.Data[0] == x.m.Data[0]|0x40 || len(m.Data) >= 2 && m.Data[0] == 0x7F && m.Data[1] == x.m.Data[0])
	if !own {
		return
	}
	delete(x.pending, id)
	x.final = !x.m.Address.Functional && m.Address.Answer == x.m.Address.Answer
}

func (c *conversation) torn(a link.Address, got, want int, cause error) {
	c.deliver(result{err: &link.TornError{Address: a, Got: got, Want: want, Cause: cause}})
}

// finish tells what has remained open when the adapter has shown its prompt.
func (c *conversation) finish(x *exchange) {
	c.join(x)
	for _, r := range x.receivers {
		if got, want, ok := r.r.Pending(); ok {
			c.shortfall(x, r, want)
			c.torn(r.from, got, want, isotp.ErrTimeoutCr)
			x.answers++ // something did come
		}
	}
	switch {
	case x.alert != "":
		c.deliver(result{err: &link.AdapterError{Op: "asking " + x.m.Address.String(), Text: x.alert}})
	case x.spoilt != "" && (len(x.pending) > 0 || x.answers == 0 || x.m.Address.Functional):
		c.deliver(result{err: &link.AdapterError{Op: "receiving", Text: x.spoilt, Damaged: true}})
	case len(x.pending) > 0, x.answers == 0:
		if x.silence == "" {
			x.silence = "nothing came"
		}
		c.deliver(result{err: &link.SilenceError{Address: x.m.Address, Text: x.silence}})
	}
}

// shortfall notes an answer whose end did not come, unless the adapter has said why.
func (c *conversation) shortfall(x *exchange, r *receiver, want int) {
	if squeeze(x.alert) == bufferFull {
		c.seen.note(func(q *quality) { q.tooLong = max(q.tooLong, want) })
	}
	if x.alert != "" || c.lost || x.spoilt != "" || x.m.Address.Functional || r.from.Answer != x.m.Address.Answer {
		return
	}
	if len(r.frames) == 1 {
		c.seen.note(func(q *quality) { q.unasked++ })
		return
	}
	c.loses()
}

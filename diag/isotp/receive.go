package isotp

import (
	"context"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// arrival is a frame of a module.
type arrival struct {
	address link.Address
	frame   can.Frame
	at      time.Time
}

// pump moves frames from the bus to serve, so that timers run while the bus is silent. Flow control goes past serve,
// straight to the request that waits for it.
func (l *Link) pump(ctx context.Context, arrivals chan<- arrival) {
	defer close(arrivals)
	for {
		r, err := l.bus.Receive(ctx)
		if err != nil {
			l.end(err)
			return
		}
		if text := trouble(r.Fault); text != "" {
			l.deliver(ctx, result{err: &link.AdapterError{Op: "receiving", Text: text}})
		}
		f := r.Frame
		if r.Fault != 0 || f.IsRemote || f.Length > frameSize {
			continue
		}
		a, ok := l.sender(f)
		if !ok {
			continue
		}
		if c, ok := ParseFlowControl(f.Data[:f.Length], a.Headed()); ok {
			l.flowed(a, c)
			l.learn(a, f.Data[Layout{Extended: a.Headed()}.head()+flowLength:f.Length])
			continue
		}
		select {
		case arrivals <- arrival{address: a, frame: f, at: r.At}:
		case <-ctx.Done():
			return
		}
	}
}

// trouble names the faults that end what is under way.
func trouble(f bus.Fault) string {
	switch {
	case f&bus.FaultBusOff != 0:
		return "bus off"
	case f&bus.FaultDown != 0:
		return "interface down"
	}
	return ""
}

// flowed hands flow control to the request that waits for it; when none waits it is ignored (clause 9.8.3).
func (l *Link) flowed(a link.Address, c FlowControl) {
	l.mu.Lock()
	t := l.sending[answerKeyOf(a)]
	l.mu.Unlock()
	if t != nil {
		t.offer(c)
	}
}

func (l *Link) deliver(ctx context.Context, r result) {
	select {
	case l.out <- r:
	case <-ctx.Done():
	}
}

// reception is one sender's messages.
type reception struct {
	address link.Address
	r       *Reassembler
	frames  []can.Frame // of the message in progress
	room    []can.Frame // for messages of one frame
	due     time.Time   // when N_Cr runs out; zero when no message is in progress
	left    int         // consecutive frames until the next flow control; 0: none is due
	open    bool        // it is among those with a message in progress
	data    can.Data    // of the newest frame
}

// framesAtOnce is for how many frames of a message room is made when it begins: those of 4095 bytes.
const framesAtOnce = 600

// framesRoom is for how many messages of one frame room is made at a time. One of them that is kept keeps so much.
const framesRoom = 32

// alone is room for a message of one frame.
func (x *reception) alone(f can.Frame) []can.Frame {
	if len(x.room) == 0 {
		x.room = make([]can.Frame, framesRoom)
	}
	one := x.room[:1:1]
	one[0], x.room = f, x.room[1:]
	return one
}

// reset forgets the message in progress.
func (x *reception) reset() { x.frames, x.due, x.left = nil, time.Time{}, 0 }

// receptions are those of all senders. Most have no message in progress at a time.
type receptions struct {
	of   map[answerKey]*reception
	open map[*reception]bool // those with a message in progress, and perhaps some whose message has just ended
}

// serve reassembles the messages of all senders. It alone owns the receptions.
func (l *Link) serve(ctx context.Context, arrivals <-chan arrival) {
	all := receptions{map[answerKey]*reception{}, map[*reception]bool{}}
	timer := time.NewTimer(time.Hour)
	timer.Stop()
	defer timer.Stop()
	waiting := false
	for {
		if next := all.nearest(); !next.IsZero() {
			timer.Reset(time.Until(next))
			waiting = true
		} else if waiting {
			timer.Stop()
			waiting = false
		}
		select {
		case <-ctx.Done():
			return
		case x, ok := <-arrivals:
			if !ok {
				return
			}
			l.frame(ctx, &all, x)
		case <-timer.C:
			// What has arrived in time counts, however late its turn comes.
			for range len(arrivals) {
				if x, ok := <-arrivals; ok {
					l.frame(ctx, &all, x)
				}
			}
			l.expire(ctx, &all)
		}
	}
}

// nearest is when the first N_Cr runs out, zero when none runs.
func (r *receptions) nearest() (t time.Time) {
	for x := range r.open {
		if x.due.IsZero() {
			delete(r.open, x)
			x.open = false
		} else if t.IsZero() || x.due.Before(t) {
			t = x.due
		}
	}
	return t
}

// expire ends the messages whose N_Cr has run out.
func (l *Link) expire(ctx context.Context, all *receptions) {
	now := time.Now()
	for x := range all.open {
		if !x.due.IsZero() && !x.due.After(now) {
			l.abandon(ctx, x, ErrTimeoutCr)
		}
	}
}

// abandon gives the message in progress up.
func (l *Link) abandon(ctx context.Context, x *reception, cause error) {
	got, want, _ := x.r.Pending()
	x.r.Drop()
	x.reset()
	l.torn(ctx, x.address, got, want, cause)
}

func (l *Link) torn(ctx context.Context, a link.Address, got, want int, cause error) {
	l.deliver(ctx, result{err: &link.TornError{Address: a, Got: got, Want: want, Cause: cause}})
}

func (l *Link) frame(ctx context.Context, all *receptions, f arrival) {
	k := answerKeyOf(f.address)
	x := all.of[k]
	if x == nil {
		x = &reception{r: NewReassembler(k.headed, l.o.MaxLength)}
		all.of[k] = x
	}
	x.address, x.data = f.address, f.frame.Data
	s := x.r.Frame(x.data[:f.frame.Length])
	if s.Cause != nil {
		x.reset()
		l.torn(ctx, x.address, s.Got, s.Of, s.Cause)
	}
	switch s.Event {
	case Completed:
		l.learn(x.address, s.Filling)
		m := link.Message{Address: x.address, Data: s.Message, At: f.at}
		if x.frames == nil {
			m.Frames = x.alone(f.frame)
		} else {
			m.Frames = append(x.frames, f.frame)
		}
		x.reset()
		l.deliver(ctx, result{m: m})
	case Began:
		if x.address.Request.IsZero() {
			l.abandon(ctx, x, ErrNoPair)
			return
		}
		x.frames = append(make([]can.Frame, 0, min(2+s.Want/Layout{Extended: x.address.Headed()}.SingleLength(), framesAtOnce)), f.frame)
		if !x.open {
			x.open, all.open[x] = true, true
		}
		if l.await(ctx, x) && l.o.TellBegun {
			l.deliver(ctx, result{m: link.Message{Address: x.address, At: f.at, Begun: s.Want}})
		}
	case Continued:
		x.frames = append(x.frames, f.frame)
		x.due = time.Now().Add(l.o.Timeout)
		if x.left > 0 {
			if x.left--; x.left == 0 {
				l.await(ctx, x)
			}
		}
	case TooLong:
		cause := ErrOverflow
		if x.address.Request.IsZero() {
			cause = ErrNoPair
		} else if err := l.flow(ctx, x.address, FlowControl{Status: Overflow}); err != nil {
			cause = err
		}
		l.torn(ctx, x.address, 0, s.Want, cause)
	}
}

// await lets the sender go on with the next block and starts N_Cr. ok is false when the message had to be given up.
func (l *Link) await(ctx context.Context, x *reception) (ok bool) {
	x.left = int(l.o.BlockSize)
	err := l.flow(ctx, x.address, FlowControl{Status: ContinueToSend, BlockSize: l.o.BlockSize, Separation: l.o.Separation})
	if err != nil {
		l.abandon(ctx, x, err)
		return false
	}
	x.due = time.Now().Add(l.o.Timeout)
	return true
}

// flow sends a flow control to the request identifier of the answerer, within N_Ar.
func (l *Link) flow(ctx context.Context, a link.Address, c FlowControl) error {
	return l.hand(ctx, frameTo(a, c.Encode(l.layout(a))), ErrTimeoutAr)
}

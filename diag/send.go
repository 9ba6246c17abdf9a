package diag

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"readback/diag/explain"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
	"readback/diag/pause"
	"readback/diag/uds"
)

const (
	// settle is how long the car is left alone between an accepted change and the reading after it (step R1 of the
	// proof plan: 10 s).
	settle = 10 * time.Second
	// changeCap is how long an answer to a change is waited for, whatever the module asks for (common practice: 30-60 s).
	changeCap = 60 * time.Second
)

// Send sends one request, exactly as explained, once. A look goes out as it is. A change passes the gate: the state
// is measured again, the latches are checked, the journal is written and synced, the request leaves once, its
// answers are kept, and all modules are read again. What came of it is in [Visit.Result].
//
// The sequence ends with an error when the adapter fails, when the bus must be left alone ([*StopSendingError]), or when
// the store can't be written; a refusal is no error. Once the request has left, the answer is waited for even if ctx ends.
func (v *Visit) Send(ctx context.Context, e explain.Explanation) iter.Seq2[SendStep, error] {
	return func(yield func(SendStep, error) bool) {
		v.busy.Lock()
		defer v.busy.Unlock()
		r := &Result{Request: e, Refused: []gate.Latch{}, Answers: []Answer{}}
		left := false
		tell := func(s SendStep) {
			if !left {
				left = !yield(s, nil)
			}
		}
		err := v.send(ctx, e, r, tell)
		r.Tally = v.Tally()
		v.mu.Lock()
		v.result = r
		v.mu.Unlock()
		if err != nil && !left {
			yield(SendStep{}, err)
		}
	}
}

func (v *Visit) send(ctx context.Context, e explain.Explanation, r *Result, tell func(SendStep)) error {
	r.Outcome = garage.NeverSent
	if err := v.maySend(ctx); err != nil {
		return err
	}
	if e.Frame == nil || e.Direction != explain.Request || e.Wrong() {
		r.Reason = "This is not a well-formed request. Nothing was sent."
		return nil
	}
	a, ok := v.addressOf(e.Frame.ID)
	if !ok {
		r.Reason = fmt.Sprintf("No module of this car is known to listen at %s. Read the car first. Nothing was sent.", e.Frame.ID)
		return nil
	}
	m := link.Message{Address: a, Data: payloadOf(e), Exact: slices.Clone(e.Frame.Data)}
	switch e.Class {
	case explain.Look:
		return v.sendLook(ctx, m, r, tell)
	case explain.Change:
		return v.sendChange(ctx, m, e, r, tell)
	}
	_, err := v.gate.Permit(gate.Proposal{Message: m, Explanation: e}, time.Now())
	return refusal(err, r)
}

// refusal puts a refusal of the gate into r; any other error is returned.
func refusal(err error, r *Result) error {
	var refused *gate.Refusal
	if !errors.As(err, &refused) {
		return err
	}
	r.Refused, r.Reason = refused.Latches, refused.Reason
	if r.Refused == nil {
		r.Refused = []gate.Latch{}
	}
	return nil
}

// payloadOf is what the frame's length byte counts. It is asked for well-formed single frames only.
func payloadOf(e explain.Explanation) []byte {
	n := int(e.Frame.Data[0])
	return slices.Clone(e.Frame.Data[1 : 1+n])
}

// addressOf completes a request identifier: one of the functional addresses, a module of the record, or a pair that
// ISO 15765-4 sets.
func (v *Visit) addressOf(id link.ID) (link.Address, bool) {
	for _, f := range []link.Address{link.Functional11(), link.Functional29()} {
		if f.Request == id {
			return f, true
		}
	}
	if r, ok := v.Record(); ok {
		for _, m := range r.Modules {
			if m.Address.Request == id {
				return m.Address, true
			}
		}
	}
	if answer, ok := link.DefaultAnswer(id); ok {
		return link.Physical(id, answer), true
	}
	return link.Address{}, false
}

// once is a peer that sends its one request through send and refuses a second.
type once struct {
	*link.Peer
	send func(context.Context) error
	used bool
}

var errTwice = errors.New("diag: a request goes out once")

func (o *once) Send(ctx context.Context, _ link.Message) error {
	if o.used {
		return errTwice
	}
	o.used = true
	return o.send(ctx)
}

func (v *Visit) sendLook(ctx context.Context, m link.Message, r *Result, tell func(SendStep)) error {
	p := v.router.Peer(m.Address)
	defer p.Close()
	o := &once{Peer: p, send: func(ctx context.Context) error {
		r.SentAt = time.Now()
		if err := p.Send(ctx, m); err != nil {
			return err
		}
		r.Sent = true
		tell(SendStep{Stage: SendOut})
		return nil
	}}
	err := v.exchange(ctx, o, m, r, tell)
	tell(SendStep{Stage: SendDone})
	return err
}

// exchange sends the request of o and collects what comes back into r.
func (v *Visit) exchange(ctx context.Context, o *once, m link.Message, r *Result, tell func(SendStep)) error {
	c := v.client(o, m.Address)
	for got, err := range c.Answers(ctx, m.Data) {
		var refused *gate.Refusal
		switch {
		case errors.As(err, &refused):
			return refusal(err, r)
		case errors.Is(err, uds.ErrNoAnswer), errors.Is(err, uds.ErrNoneAsked):
			if len(r.Answers) == 0 {
				r.Outcome = garage.NoAnswer
			}
			return nil
		case err != nil && !r.Sent:
			return err
		case err != nil:
			r.Outcome = garage.Unknown
			return err
		}
		a := answerOf(m.Data, got, r.SentAt)
		r.Answers = append(r.Answers, a)
		r.Outcome = outcomeOf(m.Data, got.Data, r.Outcome)
		tell(SendStep{Stage: SendAnswer, Answer: &a})
	}
	return nil
}

func answerOf(request []byte, got link.Message, sent time.Time) Answer {
	after := got.At.Sub(sent)
	a := Answer{At: got.At, After: after, AfterMs: float64(after.Microseconds()) / 1000, From: got.Address.Answer.String(),
		Hex: fmt.Sprintf("%X", got.Data), Text: explain.ExplainAnswer(request, got.Data), Frames: []string{}}
	for _, f := range got.Frames {
		a.Frames = append(a.Frames, explain.Canonical(link.IDOf(f), f.Data[:f.Length]))
	}
	return a
}

// outcomeOf reads one answer: "working, wait" leaves the outcome open.
func outcomeOf(request, answer []byte, so garage.Outcome) garage.Outcome {
	switch {
	case len(answer) >= 3 && answer[0] == 0x7F && answer[2] == 0x78:
		return garage.Unknown
	case len(answer) >= 3 && answer[0] == 0x7F:
		return garage.Declined
	case len(answer) >= 1 && answer[0] == request[0]|0x40:
		return garage.Accepted
	}
	return so
}

func (v *Visit) sendChange(ctx context.Context, m link.Message, e explain.Explanation, r *Result, tell func(SendStep)) error {
	if v.readOnly(r) {
		return nil
	}
	tell(SendStep{Stage: SendMeasure})
	if err := v.Measure(ctx); err != nil {
		return err
	}
	if v.readOnly(r) { // measuring may have shown it
		return nil
	}
	state, words := v.gateState(e)
	permit, err := v.gate.Permit(gate.Proposal{Message: m, Explanation: e, State: state, Words: words}, time.Now())
	if err != nil {
		return refusal(err, r)
	}
	before, _ := v.Record()
	r.Before = before.ID

	tell(SendStep{Stage: SendWrite})
	entry, err := v.opt.Store.Begin(ctx, v.entry(e, before, gate.Line(e, state, words, time.Now())))
	if err != nil {
		return err
	}
	r.Entry = entry.ID

	// From here on the request may have left: the answer is waited for and written down whatever ctx does.
	act, cancel := context.WithTimeout(context.WithoutCancel(ctx), changeCap)
	defer cancel()
	p := v.router.Peer(m.Address)
	defer p.Close()
	attempted := false
	o := &once{Peer: p, send: func(ctx context.Context) error {
		r.SentAt = time.Now()
		attempted = true
		if err := v.gate.Pass(ctx, permit, m, time.Now()); err != nil {
			return err
		}
		r.Sent = true
		tell(SendStep{Stage: SendOut})
		return nil
	}}
	sendErr := v.exchange(act, o, m, r, tell)
	if r.Sent && ctx.Err() == nil && errors.Is(sendErr, context.DeadlineExceeded) {
		sendErr = nil // it said "wait" to the last; its codes will tell what became of the request
	}
	if !r.Sent && attempted && sendErr != nil && !neverLeft(sendErr) {
		// The adapter failed while it was being handed the request: nobody can say whether it left.
		r.Outcome = garage.Unknown
	}
	if err := v.opt.Store.Finish(context.WithoutCancel(ctx), entry.ID, r.Outcome, answerTexts(r.Answers), v.dated(time.Now())); err != nil {
		return errors.Join(sendErr, err)
	}
	if sendErr != nil || !r.Sent {
		return sendErr
	}
	return v.readBack(ctx, m.Address, before, r, tell)
}

// readOnly tells that nothing may be changed through this adapter, and puts the reason into r.
func (v *Visit) readOnly(r *Result) bool {
	why := v.conn.Abilities().ReadOnly
	if why != "" {
		r.Reason = why + " Nothing was sent."
	}
	return why != ""
}

// neverLeft: errors with which a link says that it sent nothing at all.
func neverLeft(err error) bool {
	var stop *StopSendingError
	return errors.As(err, &stop) || errors.Is(err, link.ErrNotSent) || errors.Is(err, link.ErrNotExact) || errors.Is(err, link.ErrTooLong) ||
		errors.Is(err, gate.ErrPermitUsed) || errors.Is(err, gate.ErrPermitExpired) || errors.Is(err, gate.ErrPermitOther)
}

func (v *Visit) entry(e explain.Explanation, before garage.Visit, latches []gate.Latch) garage.Entry {
	said, _ := json.Marshal(latches) // latches are plain values: this can't fail
	var words string
	if e.Words != nil {
		words = strings.Join(e.Words[:], " ")
	}
	return garage.Entry{CarID: before.CarID, Before: before.ID, Place: string(v.opt.Place), Words: words, Latches: string(said),
		Request: explain.Canonical(e.Frame.ID, e.Frame.Data), Summary: e.Summary, Begun: v.dated(time.Now())}
}

func answerTexts(answers []Answer) []string {
	out := make([]string, 0, len(answers))
	for _, a := range answers {
		out = append(out, fmt.Sprintf("%s after %.0f ms: %s (%s)", a.From, a.AfterMs, a.Hex, a.Text))
	}
	return out
}

// readBack reads all modules again, those twice that are without a fault of the record before, and compares.
func (v *Visit) readBack(ctx context.Context, asked link.Address, before garage.Visit, r *Result, tell func(SendStep)) error {
	tell(SendStep{Stage: SendReadBack})
	if err := pause.For(ctx, settle); err != nil {
		return err
	}
	after := v.newRecord(garage.KindReadBack)
	for _, m := range before.Modules {
		after.Modules = append(after.Modules, bare(m))
	}
	steps := make(chan Progress, len(after.Modules)+8)
	done := make(chan error, 1)
	go func() {
		done <- v.finish(ctx, &after, before.Modules, v.Car().Name, func(p Progress) { steps <- p })
		close(steps)
	}()
	for p := range steps {
		tell(SendStep{Stage: SendReadBack, Progress: &p})
	}
	if err := <-done; err != nil {
		return err
	}
	rb := compare(before, after, func(a link.Address) bool { return asked.Functional || a.Request == asked.Request })
	r.ReadBack, r.Visit = &rb, after.ID
	if err := v.opt.Store.LinkReadBack(ctx, r.Entry, after.ID); err != nil {
		return err
	}
	if err := v.planProof(ctx, r, before, after); err != nil {
		return err
	}
	tell(SendStep{Stage: SendDone})
	return nil
}

// planProof writes the readings that follow an erase that was agreed to. The first of them is the reading that has
// just been taken.
func (v *Visit) planProof(ctx context.Context, r *Result, before, after garage.Visit) error {
	if r.Outcome != garage.Accepted || r.Request.Service != "14" && r.Request.Service != "04" {
		return nil
	}
	if err := v.opt.Store.PlanProof(ctx, r.Entry, proofPlan(before.Modules, v.dated(r.SentAt))); err != nil {
		return err
	}
	steps, err := v.opt.Store.Proof(ctx, r.Entry)
	if err != nil {
		return err
	}
	for _, p := range steps {
		if p.Step == ProofNow {
			return v.opt.Store.ProofDone(ctx, p.ID, after.ID, after.Ended)
		}
	}
	return nil
}

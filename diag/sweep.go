package diag

import (
	"context"
	"errors"
	"slices"
	"time"

	"readback/diag/link"
)

// testerPresent is the harmless request that a search asks with (ISO 14229-1, 3E 00).
var testerPresent = []byte{0x3E, 0x00}

// sweep asks every physical address: 700-7FF and 18DAxxF1, never an identifier heard from the car. It returns found
// completed by the pairs it has proven.
func (v *Visit) sweep(ctx context.Context, found []link.Address, tell func(Progress)) ([]link.Address, error) {
	todo := v.candidates(found)
	if v.parallel() {
		return v.search(ctx, found, todo, tell)
	}
	return v.sweepSlow(ctx, found, todo, tell)
}

// stride is the step in which the addresses 00-FF are asked: stride*p modulo 256 is the p-th. With 173 an identifier and
// those 1 to 6, 8, 10, 20, 40, 60 and 80 hex beside it, one of which may be its answer's, are at least 32 steps apart in
// time. So an answer that is on its way is heard before its identifier has its turn, and is then left alone.
const stride = 173

// candidates are the request identifiers worth asking, those that the standard pairs first; both widths take turns.
func (v *Visit) candidates(found []link.Address) []link.ID {
	var ids []link.ID
	for id := uint32(0x7E0); id <= 0x7E7; id++ {
		ids = append(ids, link.ID11(id))
	}
	for p := uint32(0); p <= 0xFF; p++ {
		at := stride * p & 0xFF
		if id := 0x700 | at; id != link.Functional11().Request.Value && (id < 0x7E0 || id > 0x7EF) {
			ids = append(ids, link.ID11(id))
		}
		if at != 0xF1 && v.conn.Abilities().Wide {
			ids = append(ids, link.ID29(0x18DA00F1|at<<8))
		}
	}
	return slices.DeleteFunc(ids, func(id link.ID) bool {
		return v.isHeard(id) || slices.ContainsFunc(found, func(a link.Address) bool { return a.Request == id })
	})
}

// physical is the address of a request identifier whose answer may not be known yet.
func physical(request link.ID) link.Address {
	answer, _ := link.DefaultAnswer(request)
	return link.Physical(request, answer)
}

// sweepSlow asks one at a time: for an adapter that has one request in the air.
func (v *Visit) sweepSlow(ctx context.Context, found []link.Address, todo []link.ID, tell func(Progress)) ([]link.Address, error) {
	// One width after the other: each change of width costs the line several settings.
	slices.SortStableFunc(todo, func(a, b link.ID) int {
		switch {
		case a.Extended == b.Extended:
			return 0
		case b.Extended:
			return -1
		}
		return 1
	})
	patience := sweepPatience
	for i, id := range todo {
		tell(Progress{Stage: StageSweep, Done: i, Total: len(todo), Answered: len(found)})
		if v.isHeard(id) {
			continue
		}
		answers, spoilt, err := v.prove(ctx, id)
		for try := 1; spoilt && len(answers) == 0 && try < sweepTries && patience > 0; try++ {
			patience--
			answers, spoilt, err = v.prove(ctx, id)
		}
		if err != nil {
			return nil, err
		}
		if len(answers) == 1 {
			v.hear(answers[0])
			found = append(found, link.Physical(id, answers[0]))
		}
	}
	return found, nil
}

// sweepTries is how often an address is asked in all whose answer arrives damaged, or with which the adapter breaks off.
const sweepTries = 3

// sweepPatience is how many such tries a whole sweep has.
const sweepPatience = 30

// listening notes that something came that can't be read, or that the adapter broke off.
type listening struct {
	*link.Peer
	spoilt  bool
	damaged bool // the first of both
}

func (l *listening) Receive(ctx context.Context) (link.Message, error) {
	m, err := l.Peer.Receive(ctx)
	var silence *link.SilenceError
	if link.Passing(err) && !errors.As(err, &silence) {
		l.spoilt = true
	}
	l.damaged = l.damaged || link.Damaged(err)
	return m, err
}

// prove asks one address while nothing else is asked, and returns the identifiers that answer: none, one for a
// module, several where the identifier reaches several modules. spoilt: what came while it was asked was not all sound.
func (v *Visit) prove(ctx context.Context, id link.ID) (answers []link.ID, spoilt bool, err error) {
	p := &listening{Peer: v.router.Listen()}
	defer p.Close()
	since := time.Now()
	if err := p.Send(ctx, link.Message{Address: physical(id), Data: testerPresent, Wait: answerWithin}); err != nil {
		return nil, link.Passing(err), err
	}
	var ids []link.ID
	take := func(m link.Message) bool {
		if m.Address.Answer.Extended != id.Extended || !isReply(m.Data) || slices.Contains(ids, m.Address.Answer) {
			return true
		}
		ids = append(ids, m.Address.Answer)
		return false
	}
	wait := answerWithin
	if !v.parallel() {
		wait = adapterWithin
	}
	for {
		before := len(ids)
		if err := collect(ctx, p, id, since, time.Now().Add(wait), take); err != nil || len(ids) == before {
			return ids, p.spoilt, err
		}
		wait = answerWithin // others that the same identifier reaches answer within the same time
	}
}

// isReply: a module's answer to 3E 00, whether it agrees or not.
func isReply(data []byte) bool {
	return len(data) >= 2 && (data[0] == 0x7E || data[0] == 0x7F && data[1] == 0x3E)
}

package diag

import (
	"context"
	"errors"
	"slices"
	"time"

	"readback/diag/link"
	"readback/diag/vin"
)

// testerPresent is the harmless request that a search asks with (ISO 14229-1, 3E 00).
var testerPresent = []byte{0x3E, 0x00}

const (
	answerWithin = 150 * time.Millisecond // P2 of 50 ms and a gateway's delay (common practice)
	// adapterWithin bounds the wait for an adapter that does its own waiting; it tells silence long before.
	adapterWithin = 2 * time.Second
	sweepGap      = 4 * time.Millisecond // two frames of at most 160 bits in 4 ms: under 20 % at 500 kbit/s, 8 % in the usual silence
)

// ask asks all modules at once, on both identifier widths, who is there and which car this is. It returns the
// addresses whose pair ISO 15765-4 sets, and the car's identification number if a module told it.
func (v *Visit) ask(ctx context.Context, tell func(Progress)) (found []link.Address, number string, err error) {
	tell(Progress{Stage: StageAsk})
	all := v.router.Listen()
	defer all.Close()
	targets := []link.Address{link.Functional11()}
	if v.conn.Abilities().Wide {
		targets = append(targets, link.Functional29())
	}
	for _, a := range targets {
		for _, req := range [][]byte{testerPresent, {0x09, 0x02}, {0x22, 0xF1, 0x90}} {
			if err := all.Send(ctx, link.Message{Address: a, Data: req, Wait: answerWithin}); err != nil {
				return nil, "", err
			}
			err := collect(ctx, all, a.Request, time.Now(), 2*answerWithin, func(m link.Message) bool {
				if n := numberIn(m.Data); n != "" {
					number = n
				}
				if pair, ok := pairOf(m.Address); ok && !slices.Contains(found, pair) {
					found = append(found, pair)
					v.hear(pair.Answer)
					tell(Progress{Stage: StageAsk, Answered: len(found)})
				}
				return true
			})
			if err != nil {
				return nil, "", err
			}
		}
	}
	return found, number, nil
}

// pairOf completes the address of an answer, where the pair is known.
func pairOf(a link.Address) (link.Address, bool) {
	if a.Answer.IsZero() {
		return link.Address{}, false
	}
	if req, ok := link.DefaultRequest(a.Answer); ok {
		return link.Physical(req, a.Answer), true
	}
	return link.Address{}, false
}

// numberIn finds the identification number in an answer to 09 02 or 22 F190.
func numberIn(data []byte) string {
	var text []byte
	switch {
	case len(data) == 20 && data[0] == 0x49 && data[1] == 0x02:
		text = data[3:]
	case len(data) == 20 && data[0] == 0x62 && data[1] == 0xF1 && data[2] == 0x90:
		text = data[3:]
	default:
		return ""
	}
	if _, err := vin.Parse(string(text)); err != nil {
		return ""
	}
	return string(text)
}

// collect hands what arrived since a request to take, until it says no, the time is over, or an adapter that does its
// own waiting says that nothing comes from the identifier asked.
func collect(ctx context.Context, p *link.Peer, asked link.ID, since time.Time, d time.Duration, take func(link.Message) bool) error {
	within, cancel := context.WithTimeout(ctx, d)
	defer cancel()
	for {
		m, err := p.Receive(within)
		var (
			torn    *link.TornError
			silence *link.SilenceError
			alert   *link.AdapterError
		)
		switch {
		case err == nil:
			if !m.At.Before(since) && !take(m) {
				return nil
			}
		case errors.As(err, &silence):
			if silence.Address.Request == asked {
				return nil
			}
		case errors.As(err, &torn), errors.As(err, &alert):
		case ctx.Err() != nil:
			return ctx.Err()
		case within.Err() != nil:
			return nil
		default:
			return err
		}
	}
}

// sweep asks one physical address after another: 700-7FF and 18DAxxF1, never an identifier heard from the car. It
// returns found completed by the pairs it has proven.
func (v *Visit) sweep(ctx context.Context, found []link.Address, tell func(Progress)) ([]link.Address, error) {
	todo := v.candidates(found)
	if v.conn.Abilities().Parallel > 1 {
		return v.sweepFast(ctx, found, todo, tell)
	}
	return v.sweepSlow(ctx, found, todo, tell)
}

// candidates are the request identifiers worth asking, those that the standard pairs first.
func (v *Visit) candidates(found []link.Address) []link.ID {
	var ids []link.ID
	for id := uint32(0x7E0); id <= 0x7E7; id++ {
		ids = append(ids, link.ID11(id))
	}
	for id := uint32(0x700); id < 0x7E0; id++ {
		if id != link.Functional11().Request.Value {
			ids = append(ids, link.ID11(id))
		}
	}
	for id := uint32(0x7F0); id <= 0x7FF; id++ {
		ids = append(ids, link.ID11(id))
	}
	if v.conn.Abilities().Wide {
		for t := uint32(0); t <= 0xFF; t++ {
			if t != 0xF1 {
				ids = append(ids, link.ID29(0x18DA00F1|t<<8))
			}
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
	for i, id := range todo {
		tell(Progress{Stage: StageSweep, Done: i, Total: len(todo), Answered: len(found)})
		if v.isHeard(id) {
			continue
		}
		answers, err := v.prove(ctx, id)
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

// prove asks one address and returns the identifiers that answer: none, one for a module, several where the
// identifier reaches several modules.
func (v *Visit) prove(ctx context.Context, id link.ID) ([]link.ID, error) {
	p := v.router.Listen()
	defer p.Close()
	if err := p.Send(ctx, link.Message{Address: physical(id), Data: testerPresent, Wait: answerWithin}); err != nil {
		return nil, err
	}
	since := time.Now()
	var ids []link.ID
	take := func(m link.Message) bool {
		if m.Address.Answer.Extended != id.Extended || !isReply(m.Data) || slices.Contains(ids, m.Address.Answer) {
			return true
		}
		ids = append(ids, m.Address.Answer)
		return false
	}
	wait := answerWithin
	if v.conn.Abilities().Parallel <= 1 {
		wait = adapterWithin
	}
	for {
		before := len(ids)
		if err := collect(ctx, p, id, since, wait, take); err != nil || len(ids) == before {
			return ids, err
		}
		wait = answerWithin // others that the same identifier reaches answer within the same time
	}
}

// isReply: a module's answer to 3E 00, whether it agrees or not.
func isReply(data []byte) bool {
	return len(data) >= 2 && (data[0] == 0x7E || data[0] == 0x7F && data[1] == 0x3E)
}

// sweepFast has many requests in the air, one every sweepGap, and sorts out afterwards which request each answering
// identifier belongs to.
func (v *Visit) sweepFast(ctx context.Context, found []link.Address, todo []link.ID, tell func(Progress)) ([]link.Address, error) {
	p := v.router.Listen()
	defer p.Close()
	begun := time.Now()
	var asked []time.Time
	answers := map[link.ID]time.Time{}
	take := func(m link.Message) bool {
		id := m.Address.Answer
		known := slices.ContainsFunc(found, func(a link.Address) bool { return a.Answer == id })
		if _, seen := answers[id]; isReply(m.Data) && !known && !seen {
			answers[id] = time.Now()
			v.hear(id)
		}
		return true
	}
	for i, id := range todo {
		asked = append(asked, time.Now())
		if v.isHeard(id) {
			continue
		}
		if i%16 == 0 {
			tell(Progress{Stage: StageSweep, Done: i, Total: len(todo), Answered: len(found) + len(answers)})
		}
		if err := p.Send(ctx, link.Message{Address: physical(id), Data: testerPresent}); err != nil {
			return nil, err
		}
		if err := collect(ctx, p, id, begun, sweepGap, take); err != nil {
			return nil, err
		}
	}
	if err := collect(ctx, p, link.ID{}, begun, answerWithin, take); err != nil {
		return nil, err
	}
	ids := make([]link.ID, 0, len(answers))
	for id := range answers {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b link.ID) int { return answers[a].Compare(answers[b]) })
	for _, answer := range ids {
		tell(Progress{Stage: StageSweep, Done: len(todo), Total: len(todo), Answered: len(found)})
		for _, request := range suspects(answer, answers[answer], todo, asked) {
			if v.isHeard(request) {
				continue
			}
			got, err := v.prove(ctx, request)
			if err != nil {
				return nil, err
			}
			if len(got) == 1 && got[0] == answer {
				found = append(found, link.Physical(request, answer))
				break
			}
		}
	}
	return found, nil
}

// suspects are the requests that an answer may belong to, the likeliest first: the standard's pair, the distances
// seen in the trade (+8, +20, -20 hex; risk table 3d), then those asked shortly before it.
func suspects(answer link.ID, at time.Time, todo []link.ID, asked []time.Time) []link.ID {
	var near []link.ID
	for i := len(todo) - 1; i >= 0; i-- {
		if d := at.Sub(asked[i]); todo[i].Extended == answer.Extended && d >= 0 && d <= answerWithin {
			near = append(near, todo[i])
		}
	}
	likely := func(request link.ID) int {
		if d, ok := link.DefaultAnswer(request); ok && d == answer {
			return 0
		}
		if !answer.Extended {
			switch int(answer.Value) - int(request.Value) {
			case 8:
				return 1
			case 0x20, -0x20:
				return 2
			}
		}
		return 3
	}
	slices.SortStableFunc(near, func(a, b link.ID) int { return likely(a) - likely(b) })
	return near
}

package diag

import (
	"context"
	"errors"
	"slices"
	"time"

	"readback/diag/link"
	"readback/diag/vin"
)

const (
	answerWithin = 150 * time.Millisecond // P2 of 50 ms (ISO 14229-2) and a gateway's delay (common practice)
	// adapterWithin bounds the wait for an adapter that does its own waiting; it tells silence long before.
	adapterWithin = 2 * time.Second
	// unfinishedWithin is how long a module is believed that has said "working, wait" (P2* of ISO 14229-2), or that
	// has begun a long answer (N_Cr of ISO 15765-2 ends it long before).
	unfinishedWithin = 5 * time.Second
	// gatherWithin is how long the answers to one question to all are waited for, whatever comes (common practice: 30-60 s).
	gatherWithin = time.Minute
)

// numberQuestions ask which car this is: identifier F190 of ISO 14229-1, service 09 of SAE J1979, and its place in SAE
// J1979-2, which is from memory. One answer is enough.
var numberQuestions = [][]byte{{0x22, 0xF1, 0x90}, {0x09, 0x02}, {0x22, 0xF8, 0x02}}

// ask asks all modules at once, on both identifier widths, which car this is. It returns the addresses of those that
// answered, as far as ISO 15765-4 pairs their identifiers, the number that most of them told, and how many questions it
// took.
func (v *Visit) ask(ctx context.Context, tell func(Progress)) (found []link.Address, number string, rounds int, err error) {
	tell(Progress{Stage: StageAsk})
	if line, ok := v.everyone(); ok {
		found, number, err = v.askLine(ctx, line)
		v.tellNumber(number)
		return found, number, 1, err
	}
	all := v.router.Listen()
	defer all.Close()
	votes := map[string]int{}
	take := func(m link.Message) {
		if n := numberIn(m.Data); n != "" {
			votes[n]++
		}
		if pair, ok := pairOf(m.Address); ok && !slices.Contains(found, pair) {
			found = append(found, pair)
			tell(Progress{Stage: StageAsk, Answered: len(found)})
		}
	}
	for _, q := range v.questions() {
		if err := v.askAll(ctx, all, q, take); err != nil {
			return nil, "", 0, err
		}
		rounds++
		if number = mostSaid(votes); number != "" {
			break
		}
	}
	v.tellNumber(number)
	return found, number, rounds, nil
}

// tellNumber keeps the number that the car told for its record.
func (v *Visit) tellNumber(number string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.number = number
}

// questions are numberQuestions in the order for this adapter. Over a line that carries one request at a time the first
// is service 09, for which few modules have an answer: all others would answer F190 with several frames each.
func (v *Visit) questions() [][]byte {
	q := slices.Clone(numberQuestions)
	if !v.parallel() {
		q[0], q[1] = q[1], q[0]
	}
	return q
}

// quiet is how long after an answer over such a line no other is expected any more: the adapter's own wait and a line.
const quiet = answerWithin + 20*time.Millisecond

// askAll sends one request to all modules and hands their answers to take. Where the adapter has one request in the
// air, the widths take turns.
func (v *Visit) askAll(ctx context.Context, all *link.Peer, request []byte, take func(link.Message)) error {
	begun := time.Now()
	targets := []link.Address{link.Functional11()}
	if v.conn.Abilities().Wide {
		targets = append(targets, link.Functional29())
	}
	for i, a := range targets {
		if err := all.Send(ctx, link.Message{Address: a, Data: request, Wait: answerWithin}); err != nil {
			return err
		}
		switch {
		case !v.parallel():
			if err := v.gather(ctx, all, a.Request, begun, time.Now().Add(adapterWithin), quiet, take); err != nil {
				return err
			}
		case i == len(targets)-1:
			if err := v.gather(ctx, all, link.ID{}, begun, time.Now().Add(answerWithin), 0, take); err != nil {
				return err
			}
		}
	}
	return nil
}

// parallel: the adapter carries frames, and as many requests may be in the air as the bus has room for.
func (v *Visit) parallel() bool { return v.conn.Abilities().Parallel > 1 }

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

// numberIn finds the identification number in an answer to one of numberQuestions.
func numberIn(data []byte) string {
	if len(data) != 20 {
		return ""
	}
	switch {
	case data[0] == 0x49 && data[1] == 0x02:
	case data[0] == 0x62 && data[1] == 0xF1 && data[2] == 0x90:
	case data[0] == 0x62 && data[1] == 0xF8 && data[2] == 0x02:
	default:
		return ""
	}
	text := string(data[3:])
	if _, err := vin.Parse(text); err != nil {
		return ""
	}
	return text
}

// mostSaid is the text with the most votes, "" without any; of equals the first in the alphabet.
func mostSaid(votes map[string]int) (best string) {
	for text, n := range votes {
		if best == "" || n > votes[best] || n == votes[best] && text < best {
			best = text
		}
	}
	return best
}

// next is the next message, or with Data nil the beginning of a long one (Begun) or the end of a torn one. more is false
// once the time is over, or an adapter that does its own waiting says that nothing comes from the identifier asked.
func next(ctx context.Context, p link.Link, asked link.ID, until time.Time) (m link.Message, more bool, err error) {
	within, cancel := context.WithDeadline(ctx, until)
	defer cancel()
	for {
		m, err := p.Receive(within)
		var (
			torn    *link.TornError
			silence *link.SilenceError
		)
		switch {
		case err == nil:
			return m, true, nil
		case errors.As(err, &torn):
			return link.Message{Address: torn.Address}, true, nil
		case errors.As(err, &silence) && silence.Address.Request == asked:
			return link.Message{}, false, nil
		case link.Passing(err):
		case ctx.Err() != nil:
			return link.Message{}, false, ctx.Err()
		case within.Err() != nil:
			return link.Message{}, false, nil
		default:
			return link.Message{}, false, err
		}
	}
}

// collect hands what arrived since a request to take, until it says no or until the time is over.
func collect(ctx context.Context, p link.Link, asked link.ID, since, until time.Time, take func(link.Message) bool) error {
	for {
		m, more, err := next(ctx, p, asked, until)
		if err != nil || !more {
			return err
		}
		if m.Data != nil && !m.At.Before(since) && !take(m) {
			return nil
		}
	}
}

// gather is collect for the answers of many modules: whoever has begun a long answer or has said "working, wait" is
// waited for beyond until. With a gap above 0 the first answer is waited for until then, and further ones for as long
// as they follow one another within it. All of it has an end [gatherWithin] after since.
func (v *Visit) gather(ctx context.Context, p *link.Peer, asked link.ID, since, until time.Time, gap time.Duration, take func(link.Message)) error {
	unfinished := map[link.ID]time.Time{}
	for {
		end := until
		for _, t := range unfinished {
			if t.After(end) {
				end = t
			}
		}
		if last := since.Add(gatherWithin); end.After(last) {
			end = last
		}
		m, more, err := next(ctx, p, asked, end)
		if err != nil || !more {
			return err
		}
		if !m.Address.Answer.IsZero() {
			v.hear(m.Address.Answer)
		}
		if gap > 0 && !m.At.Before(since) {
			until = time.Now().Add(gap)
		}
		switch {
		case m.Data == nil && m.Begun == 0: // torn
			delete(unfinished, m.Address.Answer)
		case m.At.Before(since):
		case m.Data == nil, isPending(m.Data):
			unfinished[m.Address.Answer] = time.Now().Add(unfinishedWithin)
		default:
			delete(unfinished, m.Address.Answer)
			take(m)
		}
	}
}

// isPending: "working, wait", 7F xx 78.
func isPending(data []byte) bool { return len(data) == 3 && data[0] == 0x7F && data[2] == 0x78 }

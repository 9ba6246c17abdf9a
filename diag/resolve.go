package diag

import (
	"cmp"
	"context"
	"slices"
	"time"

	"readback/diag/link"
	"readback/diag/pause"
)

// patience is what is asked for an identifier in its round n: how long before its first answer the suspects left that
// are asked. Round 0 asks the likeliest alone. The first window is P2 of ISO 14229-2 and a little; slow gateways answer
// later (common practice). A module may be silent to a service that it does not know, so each window has eight
// rounds, in which a suspect is asked by all labels.
func patience(n int) (window time.Duration, ok bool) {
	switch {
	case n <= 1:
		return 60 * time.Millisecond, true
	case n <= 9:
		return answerWithin, true
	case n <= 17:
		return 500 * time.Millisecond, true
	}
	return 0, false
}

// mystery is an answering identifier whose request is not known yet.
type mystery struct {
	answer   link.ID
	round    int
	suspects []link.ID // those that the last answer has left; nil: all. The last one is asked alone before it counts
}

// resolve finds the request of every identifier that has answered and is not in found. A request that more than one
// module answers is no module's address and is left out: what is meant for one module would reach others too.
func (s *search) resolve(ctx context.Context, found []link.Address, tell func(answered int)) ([]link.Address, error) {
	var mine []link.Address
	shared := map[link.ID]bool{}
	for {
		var open []*mystery
		for _, id := range s.strangers(slices.Concat(found, mine)) {
			open = append(open, &mystery{answer: id})
		}
		for len(open) > 0 {
			solved, err := s.round(ctx, open, mine, shared)
			if err != nil {
				return nil, err
			}
			mine = append(mine, solved...)
			tell(len(found) + len(mine))
			open = slices.DeleteFunc(open, func(m *mystery) bool {
				_, again := patience(m.round)
				return !again || slices.ContainsFunc(solved, func(a link.Address) bool { return a.Answer == m.answer })
			})
		}
		bad, err := s.reachingMore(ctx, found, mine)
		if err != nil || len(bad) == 0 {
			return mine, err
		}
		for _, id := range bad {
			shared[id] = true
		}
		mine = slices.DeleteFunc(mine, func(a link.Address) bool { return shared[a.Request] })
	}
}

// round asks the suspects of all mysteries once and returns the pairs that this proves.
func (s *search) round(ctx context.Context, open []*mystery, mine []link.Address, shared map[link.ID]bool) (solved []link.Address, err error) {
	var (
		ask  []link.ID
		list = map[link.ID][]link.ID{} // answer -> its suspects
		last = map[link.ID]bool{}      // suspects that alone are left
		wait time.Duration
	)
	for _, m := range open {
		window, _ := patience(m.round)
		wait = max(wait, window)
		suspects := m.suspects
		if suspects == nil {
			suspects = slices.DeleteFunc(s.suspects(m.answer, window, mine), func(id link.ID) bool { return shared[id] })
		}
		list[m.answer] = suspects
		if len(suspects) == 1 {
			last[suspects[0]] = true
		}
		if m.round == 0 && len(suspects) > 1 {
			suspects = suspects[:1]
		}
		for _, id := range suspects {
			if !slices.Contains(ask, id) {
				ask = append(ask, id)
			}
		}
	}
	label := map[link.ID]byte{}
	mark := s.mark()
	for i, id := range ask {
		request := labels[(i+open[0].round)%len(labels)]
		if last[id] {
			request = labels[0] // every module answers that
		}
		label[id] = request[0]
		if err := s.ask(ctx, id, request); err != nil {
			return nil, err
		}
	}
	heard, err := s.await(ctx, open, mark, max(wait, answerWithin))
	if err != nil {
		return nil, err
	}
	for _, m := range open {
		m.round++
		service, ok := heard[m.answer]
		if !ok {
			m.suspects = nil
			continue
		}
		before := len(list[m.answer])
		left := slices.DeleteFunc(list[m.answer], func(id link.ID) bool { return label[id] != service })
		switch {
		case len(left) == 0:
			m.suspects = nil
		case len(left) == 1 && (before == 1 || m.round == 1): // it was asked for this answer alone
			solved = append(solved, link.Physical(left[0], m.answer))
		default:
			m.suspects = left
		}
	}
	return solved, nil
}

// mark is how many answers have been heard so far.
func (s *search) mark() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.answers)
}

// await waits until all have answered since mark or the time is over, and returns the service that each answered.
func (s *search) await(ctx context.Context, open []*mystery, mark int, within time.Duration) (map[link.ID]byte, error) {
	timer := time.NewTimer(within)
	defer timer.Stop()
	for over := false; ; {
		heard := map[link.ID]byte{}
		s.mu.Lock()
		for _, a := range s.answers[mark:] {
			if slices.ContainsFunc(open, func(m *mystery) bool { return m.answer == a.id }) {
				heard[a.id] = a.service
			}
		}
		s.mu.Unlock()
		if over || len(heard) == len(open) {
			return heard, nil
		}
		select {
		case <-s.came:
		case <-timer.C:
			over = true
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// suspects are the requests that left within this time before any of an identifier's answers to the sweep, or before its
// very first answer when that came too late. The likeliest come first: the standard's pair, the distances that this car
// has shown, those seen in the trade (+8, +20, -20 hex; risk table 3d), then the others, and last those that have their
// module already.
func (s *search) suspects(answer link.ID, within time.Duration, mine []link.Address) []link.ID {
	s.mu.Lock()
	defer s.mu.Unlock()
	var list []link.ID
	for i, r := range s.answers {
		if r.id != answer || i >= s.swept && list != nil {
			continue
		}
		for _, q := range s.asked {
			if q.id.Extended == answer.Extended && !q.from.After(r.at) && r.at.Sub(q.to) <= within && !slices.Contains(list, q.id) {
				list = append(list, q.id)
			}
		}
	}
	distance := func(request, answer link.ID) int { return int(answer.Value) - int(request.Value) }
	rank := func(request link.ID) int {
		if d, ok := link.DefaultAnswer(request); ok && d == answer {
			return 0
		}
		if slices.ContainsFunc(mine, func(a link.Address) bool { return a.Request == request }) {
			return 4
		}
		d := distance(request, answer)
		switch {
		case answer.Extended:
			return 3
		case slices.ContainsFunc(mine, func(a link.Address) bool { return distance(a.Request, a.Answer) == d }):
			return 1
		case d == 8, d == 0x20, d == -0x20:
			return 2
		}
		return 3
	}
	slices.SortStableFunc(list, func(a, b link.ID) int { return cmp.Compare(rank(a), rank(b)) })
	return list
}

// reachingMore are the requests of mine that reach another module than theirs. When a request reaches two, either one of
// them has another address too and has answered the sweep twice, or both are put down to that request. So where nobody
// answered twice, the pairs are right; else each is asked once more with nothing else in the air.
func (s *search) reachingMore(ctx context.Context, found, mine []link.Address) (bad []link.ID, err error) {
	crowded := s.crowded(found)
	if crowded {
		if err := pause.For(ctx, answerWithin); err != nil {
			return nil, err
		}
	}
	for i, a := range mine {
		several := slices.ContainsFunc(mine[:i], func(b link.Address) bool { return b.Request == a.Request })
		if !several && crowded {
			alone, err := s.alone(ctx, a)
			if err != nil {
				return nil, err
			}
			several = !alone
		}
		if several {
			bad = append(bad, a.Request)
		}
	}
	return bad, nil
}

// alone tells whether a's own module answers a's request, and nobody else. One lost answer is forgiven.
func (s *search) alone(ctx context.Context, a link.Address) (bool, error) {
	answers, _, err := s.visit.prove(ctx, a.Request)
	if err == nil && len(answers) == 0 {
		answers, _, err = s.visit.prove(ctx, a.Request)
	}
	return slices.Equal(answers, []link.ID{a.Answer}), err
}

// crowded: somebody has answered the sweep more than once, or has answered although it was not asked, because it had
// been found before.
func (s *search) crowded(found []link.Address) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	times := map[link.ID]int{}
	for _, a := range found {
		times[a.Answer] = 1
	}
	for _, r := range s.answers[:s.swept] {
		if r.final {
			times[r.id]++
		}
		if times[r.id] > 1 {
			return true
		}
	}
	return false
}

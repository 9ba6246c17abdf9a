package diag

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"
	"sync"
	"time"

	"readback/diag/garage"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/pause"
)

// Sample is one reading of one number or state of a live value.
type Sample struct {
	Key    LiveKey
	Name   string // of the value; with the module where two chosen values have the same name
	Label  string // which of its numbers, "" where it tells one thing
	At     time.Time
	State  garage.Answered // Yes, Silent (no answer), Refused
	Number bool            // Value counts
	Value  float64         // in Unit, only where Number
	Unit   string
	Digits int        // behind the point
	Text   string     // a state in words, the bytes of what is not described, or why there is no value
	Raw    garage.Hex // the bytes that it was told in; nil without an answer
	Rate   float64    // answered readings of this value a second, over the last ones; 0 before the second
}

const (
	noAnswer = "no answer"
	// shortPause follows a request that stayed without an answer, longPause after silentRounds of them: a module that has
	// gone must not take the line from the others.
	shortPause   = 100 * time.Millisecond
	longPause    = time.Second
	silentRounds = 3
	// silentToSeveral is how often nothing has to come of a request for several values, in a row, from a module that answers
	// for single ones: once may be an answer that was lost.
	silentToSeveral = 2
	// supplyEvery is how often the adapter is asked for its own measurement, which changes slowly.
	supplyEvery = time.Second
	// rateOver is over how many readings a rate is measured.
	rateOver = 16
	// mostParameters fit one request of service 01 (SAE J1979).
	mostParameters = 6
)

// ErrNothingToWatch means that no value was chosen.
var ErrNothingToWatch = errors.New("diag: nothing was chosen to be watched")

// Watch reads values again and again, as fast as the adapter and the share of the bus allow, until the context or the
// adapter ends, which is the error of the last pair, or until the loop is left. On raw CAN the modules are asked side by
// side, over other adapters in turn. Several values of a module share a request where the module lets them. A value that
// is not answered is a sample that says so, never a zero. A bus that must be left alone ends it with a
// [*StopSendingError]. Watch, Offered, Look and Send run one at a time.
func (v *Visit) Watch(ctx context.Context, values []LiveKey) iter.Seq2[Sample, error] {
	return func(yield func(Sample, error) bool) {
		v.busy.Lock()
		defer v.busy.Unlock()
		lanes := v.lanes(values)
		if len(lanes) == 0 {
			yield(Sample{}, ErrNothingToWatch)
			return
		}
		if err := v.maySend(ctx); err != nil {
			yield(Sample{}, err)
			return
		}
		var wg sync.WaitGroup
		defer wg.Wait()
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		samples, ends := make(chan Sample), make(chan error, len(lanes))
		for _, l := range lanes {
			wg.Go(func() { ends <- l.run(ctx, samples) })
		}
		for {
			select {
			case s := <-samples:
				if !yield(s, nil) {
					return
				}
			case err := <-ends: // a lane ends with an error only
				yield(Sample{}, err)
				return
			}
		}
	}
}

// lanes are the questions that are asked side by side: one lane a module on raw CAN, else one for all.
func (v *Visit) lanes(values []LiveKey) []*lane {
	var (
		lanes  []*lane
		byLane = map[string]*lane{}
		single = !v.parallel()
		names  = v.sampleNames(values)
	)
	at := func(key string) *lane {
		if single {
			key = ""
		}
		if byLane[key] == nil {
			byLane[key] = &lane{}
			lanes = append(lanes, byLane[key])
		}
		return byLane[key]
	}
	groups := map[string][]*series{}
	var order []string
	seen := map[LiveKey]bool{}
	for _, k := range values {
		if seen[k] {
			continue
		}
		seen[k] = true
		s := &series{key: k, name: names[k], decode: v.decoder(k)}
		if s.key.Kind == LiveSupply {
			l := at(string(LiveSupply))
			l.askers = append(l.askers, v.supplyAsker(s))
			continue
		}
		g := k.Address.String() + string(k.Kind)
		if !s.decode.sized {
			g += k.String() // its length is not known: it can't share an answer
		}
		if groups[g] == nil {
			order = append(order, g)
		}
		groups[g] = append(groups[g], s)
	}
	for _, g := range order {
		all := groups[g]
		l := at(all[0].key.Address.String())
		for part := range slices.Chunk(all, all[0].key.most()) {
			l.askers = append(l.askers, v.moduleAsker(part))
		}
	}
	return lanes
}

// most is how many values of a kind may share a request to this address: as many as one frame holds behind the service.
func (k LiveKey) most() int {
	room := isotp.Layout{Extended: k.Address.Headed()}.SingleLength() - 1
	switch {
	case k.Address.Mode == link.Header: // on the older lines one request holds one parameter
		return 1
	case k.Kind == LiveParameter:
		return min(room, mostParameters)
	}
	return room / 2
}

// sampleNames are the names of values, with the module's where two have the same.
func (v *Visit) sampleNames(values []LiveKey) map[LiveKey]string {
	names, times := map[LiveKey]string{}, map[string]int{}
	for _, k := range values {
		if _, ok := names[k]; !ok {
			names[k] = v.describe(k).Name
			times[names[k]]++
		}
	}
	for k, n := range names {
		if times[n] > 1 {
			names[k] = fmt.Sprintf("%s (%s)", n, v.moduleName(k.Address))
		}
	}
	return names
}

// lane asks its questions one after another.
type lane struct{ askers []*asker }

// asker is one question that is asked again and again.
type asker struct {
	ask    func(context.Context) (samples []Sample, heard bool, err error)
	every  time.Duration // at the most this often; 0: as fast as it goes
	due    time.Time
	silent int // rounds without an answer, in a row
}

// run asks until the context ends, or the adapter does.
func (l *lane) run(ctx context.Context, out chan<- Sample) error {
	for last := 0; ; {
		i := l.next(last)
		a := l.askers[i]
		if d := time.Until(a.due); d > 0 {
			if err := pause.For(ctx, d); err != nil {
				return err
			}
		}
		begun := time.Now()
		samples, heard, err := a.ask(ctx)
		if err != nil {
			return err
		}
		for _, s := range samples {
			select {
			case out <- s:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		a.due = begun.Add(a.every)
		if heard {
			a.silent = 0
		} else {
			a.silent++
			rest := shortPause
			if a.silent >= silentRounds {
				rest = longPause
			}
			a.due = time.Now().Add(max(rest, a.every))
		}
		last = i + 1
	}
}

// next is the question whose turn it is: the first that is due, in turn from one; without any, the one that is due first.
func (l *lane) next(from int) int {
	now, best := time.Now(), -1
	for n := range l.askers {
		i := (from + n) % len(l.askers)
		if !l.askers[i].due.After(now) {
			return i
		}
		if best < 0 || l.askers[i].due.Before(l.askers[best].due) {
			best = i
		}
	}
	return best
}

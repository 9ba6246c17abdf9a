package diag

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/pause"
	"readback/diag/vin"
)

// listenFor is how long a visit listens before it asks anything (common practice: ordinary traffic repeats within a second).
const listenFor = time.Second

// Look reads the whole car: it listens, finds the modules (those known from earlier visits first, otherwise by
// asking all at once and then one address after another), reads what each is and what it has stored, and saves the
// record under carName, or under the car that the identification number belongs to when the name is "".
//
// The sequence ends with an error when the adapter or the context does, or with a [*StopSendingError] when the bus must be
// left alone; what was read until then is saved as an incomplete record. Leaving the loop early ends the reading in the same way.
func (v *Visit) Look(ctx context.Context, carName string) iter.Seq2[Progress, error] {
	return v.reading(ctx, func(ctx context.Context, tell func(Progress)) error {
		return v.look(ctx, carName, tell)
	})
}

// reading runs one long piece of work with its own goroutine and yields its progress.
func (v *Visit) reading(ctx context.Context, work func(context.Context, func(Progress)) error) iter.Seq2[Progress, error] {
	return func(yield func(Progress, error) bool) {
		v.busy.Lock()
		defer v.busy.Unlock()
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		steps := make(chan Progress, 16)
		done := make(chan error, 1)
		go func() {
			done <- work(ctx, func(p Progress) {
				select {
				case steps <- p:
				case <-ctx.Done():
				}
			})
			close(steps)
		}()
		left := false
		for p := range steps {
			if !left && !yield(p, nil) {
				left = true
				cancel()
			}
		}
		if err := <-done; err != nil && !left {
			yield(Progress{}, err)
		}
	}
}

func (v *Visit) look(ctx context.Context, carName string, tell func(Progress)) error {
	rec := v.newRecord(garage.KindLook)
	_, from := v.record.Since(math.MaxUint64)
	w := phases{begun: time.Now()}
	if v.line != nil {
		w.exchanges = v.line.mark()
	}
	if err := v.listen(ctx, tell); err != nil {
		return err
	}
	w.listened = time.Now()
	if err := v.maySend(ctx); err != nil { // what was heard counts
		return err
	}
	found, number, rounds, err := v.ask(ctx, tell)
	if err != nil {
		return err
	}
	w.asked, w.rounds = time.Now(), rounds
	known, err := v.recall(ctx, carName, number)
	if err != nil {
		return err
	}
	if len(known) > 0 { // they are asked whether they told that they are there or not
		v.mu.Lock()
		v.unread = false
		v.mu.Unlock()
	}
	_, line := v.everyone()
	if w.swept = len(known) == 0 && !line; w.swept {
		if found, err = v.sweep(ctx, found, tell); err != nil {
			return err
		}
	}
	w.searched = time.Now()
	rec.Modules = together(known, found)
	if err := v.finish(ctx, &rec, nil, carName, tell); err != nil {
		return err
	}
	v.timed(from, w, rec)
	return nil
}

// together are the modules known from earlier visits, and those that answered now and are new.
func together(known []garage.Module, found []link.Address) []garage.Module {
	for _, a := range found {
		if !slices.ContainsFunc(known, func(m garage.Module) bool { return m.Request == a.Request }) {
			known = append(known, garage.Module{Address: a, Request: a.Request, Answer: a.Answer})
		}
	}
	return known
}

// timed works out how long the look had to take.
func (v *Visit) timed(from uint64, w phases, rec garage.Visit) {
	a := v.conn.Abilities()
	rate, assumed := bitRate(a)
	t := Timing{BitRate: rate}
	if a.Raw {
		entries, _ := v.record.Since(from)
		var addresses []link.Address
		for _, m := range rec.Modules {
			addresses = append(addresses, m.Address)
		}
		t = limit(entries, w, addresses, rate)
	} else if v.line != nil {
		t.Limit = v.line.limit(a.LineSpeed, w.exchanges)
	}
	t.Assumed, t.Elapsed = assumed, time.Since(w.begun)
	v.mu.Lock()
	defer v.mu.Unlock()
	v.timing = t
}

// newRecord begins a record; the adapter and the place are part of it.
func (v *Visit) newRecord(kind garage.Kind) garage.Visit {
	a := v.conn.Abilities()
	return garage.Visit{Kind: kind, Begun: v.dated(time.Now()), Place: string(v.opt.Place), Adapter: a.Name, Practice: a.Practice}
}

// finish reads every module of rec and saves it, complete or not. before are the modules of the record before a change: what
// is missing now is looked for a second time. It is nil for a reading that no change went before.
func (v *Visit) finish(ctx context.Context, rec *garage.Visit, before []garage.Module, carName string, tell func(Progress)) error {
	readErr := v.readModules(ctx, rec.Modules, tell)
	if readErr == nil {
		readErr = v.confirm(ctx, before, rec.Modules, tell)
	}
	rec.Ended = v.dated(time.Now())
	v.mu.Lock()
	rec.Complete = readErr == nil && complete(rec.Modules) && !v.unread
	v.mu.Unlock()
	if volts, ok := v.Supply(ctx); ok {
		rec.Supply = volts
	}
	tell(Progress{Stage: StageSave, Answered: answered(rec.Modules)})
	there := func(m garage.Module) bool { return m.Answered == garage.Yes || m.Answered == garage.Damaged }
	if readErr == nil && !slices.ContainsFunc(rec.Modules, there) {
		return ErrNobodyAnswered
	}
	if err := v.save(context.WithoutCancel(ctx), rec, carName); err != nil {
		return errors.Join(readErr, err)
	}
	return readErr
}

// ErrNobodyAnswered means that no module answered anything: not that there are no codes.
var ErrNobodyAnswered = errors.New("diag: no module answered")

// complete: every module that answers has let its codes be read, or has said that it won't.
func complete(modules []garage.Module) bool {
	for _, m := range modules {
		if m.Answered == garage.Yes && m.CodesRead != garage.Yes && m.CodesRead != garage.Refused {
			return false
		}
		if m.Answered == garage.NotAsked || m.Answered == garage.Damaged {
			return false
		}
	}
	return len(modules) > 0
}

func answered(modules []garage.Module) (n int) {
	for _, m := range modules {
		if m.Answered == garage.Yes {
			n++
		}
	}
	return n
}

// listen collects the identifiers that the car uses by itself; nothing is ever sent on them.
func (v *Visit) listen(ctx context.Context, tell func(Progress)) error {
	tell(Progress{Stage: StageListen})
	if !v.conn.Abilities().Raw {
		return nil
	}
	if err := pause.For(ctx, listenFor); err != nil {
		return err
	}
	for _, e := range v.record.Entries() {
		if e.Direction == bus.In && len(e.Frames) > 0 {
			v.hear(link.IDOf(e.Frames[0]))
		}
	}
	return nil
}

func (v *Visit) hear(id link.ID) {
	v.gate.Hear(id)
	v.mu.Lock()
	v.heard[id] = true
	v.mu.Unlock()
}

func (v *Visit) isHeard(id link.ID) bool {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.heard[id]
}

// recall finds the car in the store, by its number or its name, and the modules it was seen to have.
func (v *Visit) recall(ctx context.Context, carName, number string) ([]garage.Module, error) {
	if carName == "" && number == "" {
		return nil, nil
	}
	car, ok, err := v.opt.Store.FindCar(ctx, number, carName, v.practice(number))
	if err != nil || !ok {
		return nil, err
	}
	known, err := v.opt.Store.Modules(ctx, car.ID)
	if err != nil {
		return nil, err
	}
	v.mu.Lock()
	v.car = car
	v.mu.Unlock()
	out := make([]garage.Module, 0, len(known))
	for _, m := range known {
		v.hear(m.Answer)
		out = append(out, bare(m))
	}
	return out, nil
}

// practicePrefix begins the identification number of every practice car: no maker's code begins with it.
const practicePrefix = "0TN"

func (v *Visit) practice(number string) bool {
	return v.conn.Abilities().Practice || strings.HasPrefix(number, practicePrefix)
}

// save puts the record into the store under its car.
func (v *Visit) save(ctx context.Context, rec *garage.Visit, carName string) error {
	car := v.Car()
	v.mu.Lock()
	told := v.number
	v.mu.Unlock()
	number := firstNonEmpty(numberOf(rec.Modules), told)
	rec.Practice = v.practice(number)
	if car.ID == 0 || carName != "" && carName != car.Name {
		found, ok, err := v.opt.Store.FindCar(ctx, number, carName, rec.Practice)
		if err != nil {
			return err
		}
		if !ok {
			found = garage.Car{Name: firstNonEmpty(carName, defaultName(number, rec.Practice)), VIN: number, Practice: rec.Practice, Made: rec.Begun}
		}
		car = found
	} else {
		// The owner may have written to the car's page since it was met.
		now, err := v.opt.Store.Car(ctx, car.ID)
		if err != nil {
			return err
		}
		car = now
	}
	if car.VIN == "" {
		car.VIN = number
	}
	car.Place = rec.Place
	car, err := v.opt.Store.PutCar(ctx, car)
	if err != nil {
		return err
	}
	rec.CarID = car.ID
	saved, err := v.opt.Store.SaveVisit(ctx, *rec)
	if err != nil {
		return err
	}
	*rec = saved
	v.mu.Lock()
	v.car, v.last = car, &saved
	v.mu.Unlock()
	return v.settled(ctx, saved)
}

func firstNonEmpty(s ...string) string {
	for _, x := range s {
		if x != "" {
			return x
		}
	}
	return ""
}

func defaultName(number string, practice bool) string {
	switch {
	case practice:
		return "Practice car"
	case len(number) >= 4:
		return "Car " + number[len(number)-4:]
	}
	return "Car without a number"
}

// numberOf is the identification number that most modules tell.
func numberOf(modules []garage.Module) string {
	votes := map[string]int{}
	for _, m := range modules {
		n := m.Identification["F190"]
		if _, err := vin.Parse(n); err == nil {
			votes[n]++
		}
	}
	return mostSaid(votes)
}

// unaskedPatience is how many modules in a row the adapter may have its trouble with before the reading ends.
const unaskedPatience = 3

// readModules reads all modules, side by side or one after another as the adapter allows, each of them into its place
// in the slice. The trouble of an adapter with one module ends it when the next ones fare no better, or when no module has
// answered at all.
func (v *Visit) readModules(ctx context.Context, modules []garage.Module, tell func(Progress)) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	for i := range modules {
		modules[i].Answered, modules[i].CodesRead = garage.NotAsked, garage.NotAsked
	}
	if all, ok := v.everyone(); ok {
		return v.readLine(ctx, all, modules, tell)
	}
	side := 1
	if v.parallel() {
		side = len(modules) // the bus's load sets the pace
	}
	var (
		wg      sync.WaitGroup
		mu      sync.Mutex
		ended   int
		ok      int
		slots   = make(chan struct{}, max(1, side))
		unasked int // modules in a row
	)
	for i := range modules {
		select {
		case slots <- struct{}{}:
		case <-ctx.Done():
		}
		if ctx.Err() != nil {
			break
		}
		wg.Go(func() {
			defer func() { <-slots }()
			m := modules[i] // read into a copy: a module is shown whole or not at all
			err := v.readModule(ctx, &m)
			mu.Lock()
			modules[i] = m
			ended++
			if m.Answered == garage.Yes {
				ok++
			}
			unasked++
			var trouble *unaskedError
			passed := errors.As(err, &trouble)
			if !passed {
				unasked = 0
			}
			passed = passed && unasked < unaskedPatience && (ok > 0 || ended < len(modules))
			p := Progress{Stage: StageCodes, Module: m.Name, Done: ended, Total: len(modules), Answered: ok}
			mu.Unlock()
			if err != nil && !passed {
				stop(fmt.Errorf("diag: reading %s: %w", m.Address, err))
				return
			}
			tell(p)
		})
	}
	wg.Wait()
	return context.Cause(ctx)
}

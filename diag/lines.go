package diag

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/adapter/elm"
	"readback/diag/garage"
	"readback/diag/kwp"
	"readback/diag/link"
	"readback/diag/obd"
)

// everyone is the address of all modules where the car has no CAN at its socket: a serial bus with header bytes
// (ISO 9141-2, ISO 14230, SAE J1850). ok is false on CAN.
func (v *Visit) everyone() (a link.Address, ok bool) {
	c, can := v.conn.(interface{ Everyone() link.Address })
	if !can {
		return link.Address{}, false
	}
	a = c.Everyone()
	return a, a.Mode == link.Header
}

// askLine asks the modules of such a bus which car this is, and what they offer: those that answer are found. Where an
// answer arrived damaged, they are asked once more: nobody knows whose it was. v.unread tells that this did not help.
func (v *Visit) askLine(ctx context.Context, all link.Address) (found []link.Address, number string, err error) {
	p := &listening{Peer: v.router.Peer(all)}
	defer p.Close()
	c := v.parameters(p, all)
	var last error
	for range 2 {
		p.damaged = false
		offered, err := c.Offered(ctx)
		if err != nil && !only(err) {
			return nil, "", err
		}
		for _, id := range offered.IDs() {
			if a := link.AtHeader(byte(id.Value)); !slices.Contains(found, a) {
				v.hear(id)
				found = append(found, a)
			}
		}
		if damaged(err) {
			last = err
		}
		if !p.damaged {
			break
		}
	}
	v.mu.Lock()
	v.unread = p.damaged
	v.mu.Unlock()
	if len(found) == 0 {
		return nil, "", last // an answer that can't be read is not silence
	}
	numbers, err := c.VIN(ctx)
	if err != nil {
		return found, "", onlyThis(err)
	}
	votes := map[string]int{}
	for _, n := range numbers {
		if n.Err == nil {
			votes[n.Value]++
		}
	}
	return found, mostSaid(votes), nil
}

// lineLists are the lists of codes that such a bus knows; that of permanent codes came with CAN (from memory of SAE J1979).
var lineLists = []struct {
	service byte
	name    string
}{{0x03, "stored"}, {0x07, "pending"}}

// readLine reads the lists of codes of all modules of such a bus with two requests, and their names with one, by the
// services of SAE J1979; then, where the line is one of ISO 14230, each module alone: see [Visit.readOwn].
func (v *Visit) readLine(ctx context.Context, all link.Address, modules []garage.Module, tell func(Progress)) error {
	if err := v.readLists(ctx, all, modules); err != nil {
		return err
	}
	each := func(i int) {
		tell(Progress{Stage: StageCodes, Module: modules[i].Name, Done: i + 1, Total: len(modules), Answered: answered(modules[:i+1])})
	}
	if v.keyword() {
		return v.readOwn(ctx, modules, each)
	}
	for i := range modules {
		each(i)
	}
	return nil
}

func (v *Visit) readLists(ctx context.Context, all link.Address, modules []garage.Module) error {
	p := &listening{Peer: v.router.Peer(all)}
	defer p.Close()
	c := v.parameters(p, all)
	for i := range modules {
		m := &modules[i]
		m.Protocol, m.Identification = "OBD", map[string]string{}
		m.Answered, m.CodesRead = garage.Silent, garage.Silent
	}
	for _, list := range lineLists {
		answers, spoilt, err := askLists(ctx, c, p, list.service, modules)
		if err != nil {
			return err
		}
		for i := range modules {
			takeList(&modules[i], answers, list.name, spoilt)
		}
	}
	names, err := c.ModuleName(ctx)
	if err != nil && !only(err) {
		return err
	}
	for i := range modules {
		m := &modules[i]
		if name := names[m.Answer]; name.Err == nil && name.Value != "" {
			m.Answered = garage.Yes
			m.Identification["F197"] = name.Value
		}
		nameModule(m)
	}
	return nil
}

// askLists asks all modules for a list of codes, and once more where an answer arrived damaged and not all have one that
// can be read. spoilt: what arrived damaged may be the answer of one that is still missing.
func askLists(ctx context.Context, c *obd.Client, p *listening, service byte, modules []garage.Module) (all obd.Answers[[]byte], spoilt bool, err error) {
	all = obd.Answers[[]byte]{}
	for range 2 {
		p.damaged = false
		answers, err := c.Ask(ctx, []byte{service})
		if err != nil && !only(err) {
			return nil, false, err
		}
		gained := false
		for id, a := range answers {
			if was, ok := all[id]; !ok || was.Err != nil {
				all[id], gained = a, true
			}
		}
		missing := slices.ContainsFunc(modules, func(m garage.Module) bool {
			a, ok := all[m.Answer]
			return !ok || damaged(a.Err)
		})
		switch {
		case !missing:
			return all, false, nil
		case !p.damaged: // what came whole now is what was damaged before
			return all, spoilt && !gained, nil
		}
		spoilt = true
	}
	return all, spoilt, nil
}

// takeList takes a module's list of codes out of the answers of all. Where one of them arrived damaged, that of a module
// without one may have been it.
func takeList(m *garage.Module, answers obd.Answers[[]byte], list string, spoilt bool) {
	a, ok := answers[m.Answer]
	if !ok && spoilt {
		if m.CodesRead = garage.Damaged; m.Answered == garage.Silent {
			m.Answered = garage.Damaged
		}
	}
	if !ok {
		return
	}
	m.Answered = garage.Yes
	codes, err := obd.DecodeCodesSerial(a.Value)
	if a.Err != nil {
		err = a.Err
	}
	first := list == lineLists[0].name
	var refused *obd.NegativeError
	switch {
	case errors.As(err, &refused):
		if first {
			m.CodesRead, m.Refusal = garage.Refused, kwp.NRC(refused.Code).Text()
		}
		return
	case err != nil:
		m.CodesRead = garage.Damaged
		return
	}
	if first {
		m.CodesRead = garage.Yes
	}
	if m.CodesRead != garage.Yes {
		return // the other list without the stored codes would look like a car without codes
	}
	for _, code := range codes {
		addToList(m, code, list)
	}
}

// lineLog notes what passes an adapter that does its own waiting, for the least time that the line needs for it.
type lineLog struct {
	inner link.Link

	mu   sync.Mutex
	list []elm.Exchange
	sent time.Time // when the last request had been handed over
}

func (l *lineLog) Send(ctx context.Context, m link.Message) error {
	err := l.inner.Send(ctx, m)
	if err == nil {
		l.mu.Lock()
		l.list = append(l.list, elm.Exchange{Address: m.Address, Length: len(m.Data), Wait: m.Wait, Exact: m.Exact != nil})
		l.sent = time.Now()
		l.mu.Unlock()
	}
	return err
}

func (l *lineLog) Receive(ctx context.Context) (link.Message, error) {
	m, err := l.inner.Receive(ctx)
	if err == nil && m.Begun == 0 {
		l.mu.Lock()
		if n := len(l.list); n > 0 {
			x := &l.list[n-1]
			x.Frames += max(1, len(m.Frames))
			x.Took = max(x.Took, m.At.Sub(l.sent))
		}
		l.mu.Unlock()
	}
	return m, err
}

func (l *lineLog) Close() error { return l.inner.Close() }

// mark is how many exchanges there have been.
func (l *lineLog) mark() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.list)
}

// limit is the least time that the exchanges since mark need over a line of speed in bit/s; see [elm.LineLimit]. What the
// car takes for itself is measured at this end of the line, so the time of the bytes that LineLimit counts is taken off
// it: the request and the last line of the answer.
func (l *lineLog) limit(speed, mark int) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	list := slices.Clone(l.list[mark:])
	for i, x := range list {
		if x.Frames > 0 {
			list[i].Took = max(0, x.Took-time.Duration(counted(x)*10)*time.Second/time.Duration(cmp.Or(speed, usualLineSpeed)))
		}
	}
	return elm.LineLimit(speed, list)
}

// usualLineSpeed is what LineLimit takes where the adapter tells no speed, in bit/s.
const usualLineSpeed = 115200

// counted is how many bytes of an exchange pass between the request and the end of the last line of its answer: on CAN
// eight bytes in hex each way, the answer with its identifier, and a carriage return behind both.
func counted(x elm.Exchange) int {
	const line = 2*can.MaxDataLength + 1
	if x.Address.Mode == link.Header {
		return 2*x.Length + 1
	}
	return line + len(x.Address.Request.String()) + line
}

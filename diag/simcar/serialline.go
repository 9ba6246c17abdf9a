package simcar

import (
	"context"
	"time"
)

// allOfKWP is the address that all modules of emission control are called with (ISO 14230-4, ISO 9141-2).
const allOfKWP = 0x33

// onLine tells that the adapter's protocol is that of the car's serial line.
func (d *device) onLine() bool { return d.line != nil && d.set.protocol == d.line.protocol }

// head is the header of the next request: the bytes that were set, or the protocol's own.
func (d *device) head() [3]byte {
	if h := d.set.header; h != nil {
		return [3]byte{byte(*h >> 16), byte(*h >> 8), byte(*h)}
	}
	return [3]byte{d.line.all[0], d.line.all[1], testerAddress}
}

// receiver tells whom a header reaches: all modules, one, or nobody.
func (f form) receiver(head [3]byte) (target byte, functional, ok bool) {
	first := head[0]
	if f.counted {
		first &= 0xC0 // the length is put in by the adapter
	}
	switch {
	case first == f.all[0] && head[1] == f.all[1]:
		return head[1], true, true
	case f.one != 0 && first == f.one:
		return head[1], false, true
	}
	return 0, false, false
}

// present tells whether a module answers to an address that a conversation is opened with.
func (d *device) present(address byte) bool {
	for _, m := range d.car.modules {
		if !m.spec.Silent && (m.address() == address || address == allOfKWP && m.spec.Functional) {
			return d.car.On()
		}
	}
	return false
}

// start opens the conversation, as a request does when none is open and FI and SI do by themselves. It prints what the
// data sheet shows; quiet leaves that to a search.
func (d *device) start(ctx context.Context, quiet bool) bool {
	s := &d.set
	if d.line.start == 0 { // SAE J1850 has no such thing
		s.active = true
		return true
	}
	address := s.called
	if d.line.protocol == forms[KWPFast].protocol {
		address = d.head()[1]
	}
	dots := "..."
	if d.line.protocol == forms[KWPFast].protocol {
		dots = ""
	}
	if !quiet {
		d.print("BUS INIT: ")
	}
	if !d.waits(ctx, d.line.start) {
		d.print(s.end())
		d.printLine("STOPPED")
		return false
	}
	ok := d.present(address)
	switch {
	case quiet:
	case ok:
		d.printLine(dots + accepted)
	default:
		d.printLine(dots + "ERROR")
	}
	s.active, s.opened = ok, address
	return ok
}

// open carries out AT FI (fast) and AT SI (slow), which only their own protocols allow.
func (d *device) open(ctx context.Context, command string) {
	fast := d.set.protocol == forms[KWPFast].protocol
	slow := d.set.protocol == forms[KWPSlow].protocol || d.set.protocol == forms[ISO9141].protocol
	switch {
	case d.set.active || command == "FI" && !fast || command == "SI" && !slow:
		d.printLine(notUnderstood)
	case !d.onLine():
		d.printLine("BUS INIT: ERROR")
	default:
		d.start(ctx, false)
	}
}

// waits lets time go by; false when a byte came or the context ended first.
func (d *device) waits(ctx context.Context, t time.Duration) bool {
	timer := time.NewTimer(t)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-d.in:
		return false
	case <-timer.C:
		return true
	}
}

// found is the part of a search that tries the car's serial line.
func (d *device) found(ctx context.Context) bool {
	if d.line == nil {
		return false
	}
	before := d.set
	d.set.protocol, d.set.header, d.set.automatic, d.set.called = d.line.protocol, nil, true, allOfKWP
	if d.start(ctx, true) && len(d.car.askOnLine(allOfKWP, true, []byte{0x01, 0x00}, time.Now())) > 0 {
		d.print(d.set.end())
		return true
	}
	d.set = before
	return false
}

// askLine sends a request on the serial line and shows the answers.
func (d *device) askLine(ctx context.Context, data []byte, count int) {
	if len(data) == 0 || len(data) > mostOnLine {
		d.printLine(notUnderstood)
		return
	}
	if !d.connect(ctx) {
		return
	}
	target, functional, ok := d.line.receiver(d.head())
	d.coming = nil
	reached := target == d.set.opened || d.line.start == 0 || functional && d.set.opened == allOfKWP
	if ok && reached {
		d.coming = d.car.askOnLine(target, functional, data, time.Now())
	}
	if len(data) == 1 && data[0] == 0x82 && d.line.counted {
		defer func() { d.set.active = false }()
	}
	if !d.set.answers {
		return
	}
	shown := 0
	wait := d.line.takes(len(data)+4) + d.set.patience()
	for {
		switch d.nextOnLine(ctx, time.Now().Add(wait)) {
		case lineStopped:
			d.printLine("STOPPED")
			return
		case lineQuiet:
			if shown == 0 {
				d.printLine("NO DATA")
			}
			return
		}
		m := d.coming[0]
		d.coming = d.coming[1:]
		if !d.offer(d.showLine(m)) {
			return
		}
		if shown++; shown == count {
			return
		}
		wait = d.set.patience()
		if len(m.data) == 3 && m.data[0] == 0x7F && m.data[2] == nrcPending && !d.o.Impatient {
			wait = waitPending
		}
	}
}

// What ends waiting for a message on the line.
type lineEvent int

const (
	lineMessage lineEvent = iota
	lineQuiet
	lineStopped
)

// nextOnLine waits for the next message until a time; the zero time is never.
func (d *device) nextOnLine(ctx context.Context, until time.Time) lineEvent {
	quiet := true
	switch {
	case len(d.coming) > 0 && (until.IsZero() || d.coming[0].at.Before(until)):
		until, quiet = d.coming[0].at, false
	case until.IsZero():
		select {
		case <-ctx.Done():
		case <-d.in:
		}
		return lineStopped
	}
	switch {
	case !d.waits(ctx, time.Until(until)):
		return lineStopped
	case quiet:
		return lineQuiet
	}
	return lineMessage
}

// monitorLine shows what comes until a byte is typed.
func (d *device) monitorLine(ctx context.Context) {
	for d.nextOnLine(ctx, time.Time{}) == lineMessage {
		m := d.coming[0]
		d.coming = d.coming[1:]
		if !d.offer(d.showLine(m)) {
			return
		}
	}
	d.printLine("STOPPED")
}

// showLine is a message as a line of text: with H1 with its header and its checksum.
func (d *device) showLine(m onLine) string {
	s := &d.set
	if s.headers {
		return s.row(m.bytes) + s.end()
	}
	return s.row(m.data) + s.end()
}

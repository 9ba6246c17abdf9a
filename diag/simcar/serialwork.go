package simcar

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"readback/diag/link"

	"go.einride.tech/can"
)

// Shortest waits that adaptive timing comes down to. The data sheet gives no figures.
const (
	adaptedWait1 = 60 * time.Millisecond // AT1
	adaptedWait2 = 40 * time.Millisecond // AT2
)

// waitPending is how long it waits after a 7F xx 78 (from memory of the data sheet; P2* of ISO 14229-2).
const waitPending = 5 * time.Second

// request sends what was typed in hex and shows the answers. An odd last digit is how many answers to wait for.
func (d *device) request(ctx context.Context, line string) {
	digits, count := line, 0
	if len(line)%2 == 1 {
		n, err := strconv.ParseUint(line[len(line)-1:], 16, 8)
		if err != nil {
			d.printLine(notUnderstood)
			return
		}
		digits, count = line[:len(line)-1], int(n)
	}
	data, err := parseHex(digits)
	if err == nil && d.line != nil {
		if d.set.automatic && !d.set.active && !d.connect(ctx) {
			return
		}
		if d.onLine() {
			d.askLine(ctx, data, count)
			return
		}
	}
	f, fits := d.set.frame(data)
	if err != nil || len(data) == 0 || !fits {
		d.printLine(notUnderstood)
		return
	}
	d.exchange(ctx, func() can.Frame { f, _ = d.set.frame(data); return f }, count)
}

// remote sends a remote frame, AT RTR.
func (d *device) remote(ctx context.Context) {
	d.exchange(ctx, func() can.Frame {
		id := d.set.requestID()
		return can.Frame{ID: id.Value, IsExtended: id.Extended, IsRemote: true}
	}, 0)
}

// frame is the frame that carries typed bytes: with CAF1 behind a length byte, filled up with 00 unless V1 or the
// protocol has frames of variable length.
func (s *settings) frame(data []byte) (f can.Frame, fits bool) {
	id := s.requestID()
	f = can.Frame{ID: id.Value, IsExtended: id.Extended}
	if s.formats() {
		data = append([]byte{byte(len(data))}, data...)
	}
	if len(data) > can.MaxDataLength {
		return f, false
	}
	f.Length = uint8(copy(f.Data[:], data))
	if u := s.user(); !s.variable && (u == nil || u.config&userVariable == 0) {
		f.Length = can.MaxDataLength
	}
	return f, true
}

// exchange connects if need be, sends a frame and shows the answers. The frame is made once the protocol is known.
func (d *device) exchange(ctx context.Context, make func() can.Frame, count int) {
	if !d.connect(ctx) {
		return
	}
	d.drain()
	if err := d.bus.Send(ctx, make()); err != nil {
		d.printLine("CAN ERROR")
		return
	}
	if !d.set.answers {
		return
	}
	begun := time.Now()
	timer := time.NewTimer(d.set.patience())
	defer timer.Stop()
	for shown := 0; ; {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
			if shown == 0 {
				d.printLine("NO DATA")
			}
			return
		case <-d.in:
			d.printLine("STOPPED")
			return
		case f := <-d.frames:
			if !d.set.passes(f, false) {
				continue
			}
			if !d.offer(d.set.show(f)) {
				return
			}
			d.permit(ctx, f)
			if shown++; shown == 1 {
				d.set.slowest = max(d.set.slowest, time.Since(begun))
			}
			if shown == count {
				return
			}
			timer.Reset(d.set.patience())
			if isPending(f) && !d.o.Impatient {
				timer.Reset(waitPending)
			}
		}
	}
}

// drain forgets what was on the bus before.
func (d *device) drain() {
	for {
		select {
		case <-d.frames:
		default:
			return
		}
	}
}

// patience is how long to wait for the next answer: ST, less when adaptive timing has seen faster answers.
func (s *settings) patience() time.Duration {
	most := s.wait * s.times
	switch {
	case s.adapt == 0 || s.slowest == 0:
		return most
	case s.adapt == 1:
		return min(most, max(adaptedWait1, 2*s.slowest))
	}
	return min(most, max(adaptedWait2, 3*s.slowest/2))
}

func isPending(f can.Frame) bool {
	return f.Length >= 4 && f.Data[0] == 3 && f.Data[1] == 0x7F && f.Data[3] == nrcPending
}

// connect makes the protocol active. It prints why it can't.
func (d *device) connect(ctx context.Context) bool {
	s := &d.set
	switch {
	case s.active && d.onLine():
		return true
	case s.active && d.car.On():
		return true
	case s.active:
		d.printLine("CAN ERROR") // nobody acknowledges
		return false
	case s.automatic:
		return d.search(ctx)
	case d.onLine():
		return d.start(ctx, false)
	case s.rate() > 0 && s.rate() == d.car.spec.BitRate && d.car.On():
		s.active = true
		return true
	case s.rate() > 0:
		d.printLine("CAN ERROR")
	case s.protocol == 3 || s.protocol == 4:
		d.printLine("BUS INIT: ...ERROR")
	case s.protocol == 5:
		d.printLine("BUS INIT: ERROR")
	default:
		d.printLine("NO DATA")
	}
	return false
}

// search tries the CAN protocols, the wanted one first, each with the request that every OBD car answers.
func (d *device) search(ctx context.Context) bool {
	d.print("SEARCHING...")
	tried := d.set
	order := []byte{6, 8, 7, 9}
	if d.set.rate() > 0 {
		order = append([]byte{d.set.protocol}, order...)
	}
	for _, p := range order {
		tried.protocol, tried.header, tried.filtered, tried.format = p, nil, false, true
		answered, stopped := d.try(ctx, &tried)
		if stopped {
			d.print(d.set.end())
			d.printLine("STOPPED")
			return false
		}
		if answered {
			d.set.protocol, d.set.active = p, true
			d.print(d.set.end())
			return true
		}
	}
	if d.found(ctx) {
		return true
	}
	d.print(d.set.end())
	d.printLine("UNABLE TO CONNECT")
	return false
}

// try asks 01 00 with one protocol.
func (d *device) try(ctx context.Context, s *settings) (answered, stopped bool) {
	if s.rate() == d.car.spec.BitRate {
		d.drain()
		f, _ := s.frame([]byte{0x01, 0x00})
		if d.bus.Send(ctx, f) != nil {
			return false, true
		}
	}
	timer := time.NewTimer(defaultWait * waitUnit)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return false, true
		case <-d.in:
			return false, true
		case <-timer.C:
			return false, false
		case f := <-d.frames:
			if s.rate() == d.car.spec.BitRate && s.passes(f, false) {
				return true, false
			}
		}
	}
}

// permit sends flow control for a first frame. Mode 0 knows the identifiers of ISO 15765-4 only; a module elsewhere
// waits in vain until FC SH, FC SD and FC SM are set (common practice).
func (d *device) permit(ctx context.Context, f can.Frame) {
	s := &d.set
	if !s.flow || d.spec().NoFlow || f.Length == 0 || f.Data[0]>>4 != firstFrame {
		return
	}
	id, known := link.DefaultRequest(link.IDOf(f))
	data := []byte{flowControl << 4, 0, 0}
	if s.flowMode > 0 {
		data = s.flowData
	}
	if s.flowMode == 1 {
		id, known = link.ID{Value: *s.flowID, Extended: s.wide()}, true
	}
	if !known {
		return
	}
	fc := can.Frame{ID: id.Value, IsExtended: id.Extended, Length: can.MaxDataLength}
	copy(fc.Data[:], data)
	if s.variable {
		fc.Length = uint8(len(data))
	}
	// A bus that fails now shows in the answer that doesn't come.
	_ = d.bus.Send(ctx, fc)
}

// monitor shows everything until a byte is typed, AT MA.
func (d *device) monitor(ctx context.Context) {
	s := &d.set
	if s.protocol == 0 {
		if !d.connect(ctx) {
			return
		}
	}
	if d.onLine() {
		d.monitorLine(ctx)
		return
	}
	if s.rate() != d.car.spec.BitRate {
		d.printLine("CAN ERROR")
		return
	}
	d.drain()
	for {
		select {
		case <-ctx.Done():
			return
		case <-d.in:
			d.printLine("STOPPED")
			return
		case f := <-d.frames:
			if s.passes(f, true) && !d.offer(s.show(f)) {
				return
			}
		}
	}
}

// show is a received frame as lines of text.
func (s *settings) show(f can.Frame) string {
	data := f.Data[:f.Length]
	switch {
	case f.IsRemote:
		return s.heading(f) + "RTR" + s.end()
	case s.headers && s.formats() && !formatted(f):
		return s.heading(f) + s.row(data) + "<DATA ERROR" + s.end()
	case s.headers:
		return s.heading(f) + s.row(data) + s.end()
	case !s.formats():
		return s.row(data) + s.end()
	case !formatted(f):
		return s.row(data) + "<DATA ERROR" + s.end()
	}
	switch low := data[0] & 0x0F; data[0] >> 4 {
	case singleFrame:
		return s.row(data[1:1+low]) + s.end()
	case firstFrame:
		length := fmt.Sprintf("%03X", int(low)<<8|int(data[1]))
		if s.spaces {
			length += " "
		}
		return length + s.end() + s.numbered(0, data[2:])
	case consecutiveFrame:
		return s.numbered(low, data[1:])
	}
	return s.row(data) + s.end()
}

// formatted tells whether a frame is one that ISO 15765-2 knows.
func formatted(f can.Frame) bool {
	if f.Length == 0 {
		return false
	}
	switch low := f.Data[0] & 0x0F; f.Data[0] >> 4 {
	case singleFrame:
		return low > 0 && low < f.Length
	case firstFrame:
		return f.Length == can.MaxDataLength
	case consecutiveFrame:
		return f.Length > 1
	case flowControl:
		return f.Length >= 3 && low <= overflow
	}
	return false
}

func (s *settings) numbered(n byte, data []byte) string {
	gap := ""
	if s.spaces {
		gap = " "
	}
	return fmt.Sprintf("%X:%s%s%s", n, gap, s.row(data), s.end())
}

// heading is the identifier, then with D1 the number of data bytes.
func (s *settings) heading(f can.Frame) string {
	out := fmt.Sprintf("%03X", f.ID)
	switch {
	case f.IsExtended && s.spaces:
		out = fmt.Sprintf("%02X %02X %02X %02X", f.ID>>24, f.ID>>16&0xFF, f.ID>>8&0xFF, f.ID&0xFF)
	case f.IsExtended:
		out = fmt.Sprintf("%08X", f.ID)
	}
	if s.spaces {
		out += " "
	}
	if s.lengths {
		out += fmt.Sprintf("%X", f.Length)
		if s.spaces {
			out += " "
		}
	}
	return out
}

// row is bytes in hex, with S1 a space after each.
func (s *settings) row(data []byte) string {
	var out strings.Builder
	for _, b := range data {
		fmt.Fprintf(&out, "%02X", b)
		if s.spaces {
			out.WriteByte(' ')
		}
		out.WriteString(strings.Repeat(" ", s.gaps))
	}
	return out.String()
}

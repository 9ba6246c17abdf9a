package simcar

import (
	"context"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"readback/diag/bus"

	"go.einride.tech/can"
)

// SLCANOptions shape the serial-line CAN adapter that ServeSLCAN plays. Firmwares differ in what they leave out.
type SLCANOptions struct {
	LineRate int    // speed of the serial line in bit/s; 0 is as fast as the other end takes it
	Buffer   int    // how many bytes it holds for a slow serial line before it loses frames; 512 when 0
	BusRate  int    // bit rate of the bus in bit/s; 0 is the car's, or 500 000
	Version  string // four digits; "1013" when empty
	Mute     bool   // it answers V and N, and nothing else
	NoListen bool   // it refuses L
	NoFlags  bool   // it refuses F
	Stamps   bool   // it has been set to time stamps before
	Reports  bool   // it tells errors and states by itself, in the form of the Linux kernel's slcan driver
	Alone    bool   // nobody else is on the bus, so that nobody acknowledges
}

const (
	defaultSLCANVersion = "1013"
	slcanSerial         = "NRB01"
	slcanLongest        = 32 // characters of a line
	defaultBusRate      = 500_000
)

// slcanRates are the bit rates of S0 to S8 in bit/s.
var slcanRates = [...]int{10_000, 20_000, 50_000, 100_000, 125_000, 250_000, 500_000, 800_000, 1_000_000}

// ServeSLCAN plays a serial-line CAN adapter that is plugged into this car, on rw, until the context ends or the other
// end is gone. It behaves as the public descriptions of this line protocol say (from memory), with the reports of the
// Linux kernel's slcan driver where asked for. It closes rw, and all that it started has ended when it returns.
func (c *Car) ServeSLCAN(ctx context.Context, rw io.ReadWriteCloser, o SLCANOptions) error {
	ctx, cancel := context.WithCancel(ctx)
	var owned sync.WaitGroup
	defer owned.Wait()
	defer cancel()
	mine, cars := bus.Pair()
	defer mine.Close()
	served := make(chan error, 1)
	owned.Go(func() { served <- c.Serve(ctx, cars) })
	if o.BusRate == 0 {
		o.BusRate = c.spec.BitRate
	}
	PlaySLCAN(ctx, rw, mine, o)
	cancel()
	return <-served
}

// PlaySLCAN plays a serial-line CAN adapter on any bus, until the context ends or the other end of rw is gone. It closes
// rw, and all that it started has ended when it returns. It does not close b.
func PlaySLCAN(ctx context.Context, rw io.ReadWriteCloser, b bus.Bus, o SLCANOptions) {
	ctx, cancel := context.WithCancel(ctx)
	var owned sync.WaitGroup
	defer owned.Wait()
	defer rw.Close()
	defer cancel()
	defer context.AfterFunc(ctx, func() { rw.Close() })()
	if o.BusRate == 0 {
		o.BusRate = defaultBusRate
	}
	if o.Version == "" {
		o.Version = defaultSLCANVersion
	}
	d := &slcanDevice{o: o, bus: b, stamps: o.Stamps, rate: defaultBusRate, started: time.Now(),
		in: make(chan byte), frames: make(chan can.Frame, frameDepth),
		out: newOutput(rw, SerialOptions{BitRate: o.LineRate, Buffer: o.Buffer})}
	owned.Go(func() { fromBus(ctx, b, d.frames) })
	owned.Go(func() {
		defer cancel() // also ends a frame that waits for the bus
		fromLine(ctx, rw, d.out, d.in)
	})
	owned.Go(func() { d.out.run(ctx) })
	d.run(ctx)
}

// slcanMode is what its channel does.
type slcanMode uint8

const (
	slcanClosed slcanMode = iota
	slcanOpen
	slcanListening
)

// slcanDevice is one serial-line CAN adapter.
type slcanDevice struct {
	o       SLCANOptions
	bus     bus.Bus
	in      chan byte
	frames  chan can.Frame
	out     *output
	started time.Time

	mode     slcanMode
	rate     int // bit/s
	stamps   bool
	flags    byte // what F tells and then forgets
	received int  // error counter for receiving
	sent     int  // error counter for sending
	state    byte // a, w, p or b, as it was told last
}

func (d *slcanDevice) run(ctx context.Context) {
	var line strings.Builder
	for !d.out.failed() {
		select {
		case <-ctx.Done():
			return
		case f := <-d.frames:
			d.show(f)
		case b := <-d.in:
			switch {
			case b == '\r':
				d.answer(ctx, line.String())
				line.Reset()
			case b == '\n':
			case line.Len() <= slcanLongest:
				line.WriteByte(b)
			}
		}
	}
}

// Answers: a carriage return for done, a bell for refused.
const (
	slcanDone    = "\r"
	slcanRefused = "\a"
)

// answer carries out a line and answers it.
func (d *slcanDevice) answer(ctx context.Context, line string) {
	reply := slcanRefused
	if line != "" && len(line) <= slcanLongest {
		reply = d.execute(ctx, line[0], line[1:])
	}
	if line == "" {
		reply = slcanDone
	}
	if ctx.Err() != nil { // it has been pulled: the frame that was waiting is not refused
		return
	}
	if d.o.Mute && (line == "" || line[0] != 'V' && line[0] != 'N') {
		return
	}
	d.out.put(reply)
}

func (d *slcanDevice) execute(ctx context.Context, command byte, rest string) string {
	closed := d.mode == slcanClosed
	switch {
	case command == 'V' && rest == "":
		return "V" + d.o.Version + slcanDone
	case command == 'N' && rest == "":
		return slcanSerial + slcanDone
	case command == 'F' && rest == "" && !closed && !d.o.NoFlags:
		return d.status()
	case command == 'C' && rest == "" && !closed:
		d.mode = slcanClosed
		return slcanDone
	case command == 'O' && rest == "" && closed:
		d.open(slcanOpen)
		return slcanDone
	case command == 'L' && rest == "" && closed && !d.o.NoListen:
		d.open(slcanListening)
		return slcanDone
	case command == 'S' && len(rest) == 1 && rest[0] >= '0' && rest[0] <= '8' && closed:
		d.rate = slcanRates[rest[0]-'0']
		return slcanDone
	case command == 's' && len(rest) == 4 && closed:
		return d.registers(rest)
	case command == 'Z' && (rest == "0" || rest == "1") && closed:
		d.stamps = rest == "1"
		return slcanDone
	case strings.IndexByte("tTrR", command) >= 0 && d.mode == slcanOpen:
		return d.transmit(ctx, command, rest)
	}
	return slcanRefused
}

func (d *slcanDevice) open(m slcanMode) {
	d.mode, d.flags, d.received, d.sent, d.state = m, 0, 0, 0, 'a'
}

// registers sets the bit rate by the two timing registers of a controller with a clock of 16 MHz.
func (d *slcanDevice) registers(rest string) string {
	r, err := parseHex(rest)
	if err != nil || len(r) != 2 {
		return slcanRefused
	}
	prescaler := int(r[0]&0x3F) + 1
	quanta := 1 + int(r[1]&0x0F) + 1 + int(r[1]>>4&0x07) + 1
	d.rate = 8_000_000 / (prescaler * quanta)
	return slcanDone
}

// right reports whether the channel has the car's bit rate, within 1 %.
func (d *slcanDevice) right() bool {
	return 100*d.rate >= 99*d.o.BusRate && 100*d.rate <= 101*d.o.BusRate
}

// transmit puts a frame on the bus.
func (d *slcanDevice) transmit(ctx context.Context, command byte, rest string) string {
	f := can.Frame{IsExtended: command == 'T' || command == 'R', IsRemote: command == 'r' || command == 'R'}
	digits := 3
	if f.IsExtended {
		digits = 8
	}
	if len(rest) < digits+1 || rest[digits] < '0' || rest[digits] > '8' {
		return slcanRefused
	}
	f.Length = rest[digits] - '0'
	id, err := parseHex(fmt.Sprintf("%08s", rest[:digits]))
	data, derr := parseHex(rest[digits+1:])
	if err != nil || derr != nil || len(id) != 4 || strings.Contains(rest, " ") {
		return slcanRefused
	}
	f.ID = uint32(id[0])<<24 | uint32(id[1])<<16 | uint32(id[2])<<8 | uint32(id[3])
	if copy(f.Data[:], data); len(data) > 8 || f.IsRemote && len(data) != 0 || !f.IsRemote && len(data) != int(f.Length) || f.Validate() != nil {
		return slcanRefused
	}
	done := "z\r"
	if f.IsExtended {
		done = "Z\r"
	}
	switch {
	case d.state == 'b':
		return slcanRefused
	case !d.right():
		// Each try breaks off with an error, until the controller leaves the bus (ISO 11898-1: +8 each).
		d.flags |= 1 << 7
		d.sent = 256
		d.tell("e1B\r")
	case d.o.Alone:
		// Tries that nobody acknowledges count until the controller is error passive, no further (ISO 11898-1).
		d.flags |= 1<<7 | 1<<1
		d.sent = 128
		d.tell("e1a\r")
	case d.bus.Send(ctx, f) != nil:
		return slcanRefused
	}
	d.change()
	return done
}

// show puts a frame of the bus on the line.
func (d *slcanDevice) show(f can.Frame) {
	switch {
	case d.mode == slcanClosed || d.state == 'b' || d.o.Alone:
		return
	case !d.right():
		d.flags |= 1 << 7
		d.received = min(d.received+8, 135)
		d.tell("e2fs\r")
		d.change()
		return
	}
	d.received = max(d.received-1, 0)
	d.change()
	kind, id := "t", fmt.Sprintf("%03X", f.ID)
	if f.IsRemote {
		kind = "r"
	}
	if f.IsExtended {
		kind, id = strings.ToUpper(kind), fmt.Sprintf("%08X", f.ID)
	}
	line := fmt.Sprintf("%s%s%d", kind, id, f.Length)
	if !f.IsRemote {
		line += fmt.Sprintf("%X", f.Data[:f.Length])
	}
	if d.stamps {
		line += fmt.Sprintf("%04X", time.Since(d.started).Milliseconds()%60_000)
	}
	if !d.out.offer(line + "\r") {
		d.flags |= 1<<0 | 1<<3
	}
}

// status is the answer to F: what the counters say, and what has happened since it was asked before.
func (d *slcanDevice) status() string {
	most := max(d.received, d.sent)
	f := d.flags
	d.flags = 0
	if most >= 96 {
		f |= 1 << 2
	}
	if most >= 128 {
		f |= 1 << 5
	}
	return fmt.Sprintf("F%02X\r", f)
}

// change tells a change of the controller's state, by the limits of ISO 11898-1.
func (d *slcanDevice) change() {
	state := byte('a')
	switch most := max(d.received, d.sent); {
	case d.sent > 255:
		state = 'b'
	case most > 127:
		state = 'p'
	case most > 96:
		state = 'w'
	}
	if state != d.state {
		d.state = state
		d.tell(fmt.Sprintf("s%c%03d%03d\r", state, d.received, d.sent))
	}
}

// tell reports something that nobody asked for.
func (d *slcanDevice) tell(line string) {
	if d.o.Reports {
		d.out.put(line)
	}
}

package simcar

import (
	"context"
	"strconv"
	"time"

	"readback/diag/pause"
)

const (
	clockRate   = 4_000_000             // AT BRD divides it (data sheet, AT BRD)
	speedWait   = 75 * time.Millisecond // AT BRT after switching on: 0F
	speedUnit   = 5 * time.Millisecond  // of AT BRT
	fastestLine = 500_000               // bit/s
	spoilsIn    = 0xA5                  // what a wrong speed makes of a byte: another one (which one is invented)
	spoilsOut   = 0xC3                  // the same on the way back
	gapOfSpeed  = 2 * time.Millisecond  // between the last bit at one speed and the change to the other
	mostUnits   = 256                   // AT BRT 00 (from memory)
)

// speedTimeout carries out AT BRT hh.
func (d *device) speedTimeout(arg string) string {
	v, err := strconv.ParseUint(arg, 16, 8)
	if err != nil || len(arg) != 2 || d.o.BitRate == 0 {
		return notUnderstood
	}
	d.grace = time.Duration(v) * speedUnit
	if v == 0 {
		d.grace = mostUnits * speedUnit
	}
	return accepted
}

// changeSpeed carries out AT BRD hh: OK at the old speed, the version at the new one, and then a carriage return must
// come at the new one. Anything else, or nothing in time, brings the old speed back.
func (d *device) changeSpeed(ctx context.Context, arg string) {
	v, err := strconv.ParseUint(arg, 16, 8)
	if err != nil || len(arg) != 2 || v == 0 || clockRate/int(v) > fastestLine || d.o.BitRate == 0 {
		d.printLine(notUnderstood)
		return
	}
	before := d.out.speed()
	d.printLine(accepted)
	if !d.out.drain(ctx) || !elapse(ctx, gapOfSpeed) {
		return
	}
	d.out.setSpeed(clockRate / int(v))
	d.out.setSpoilt(d.spec().Falsely)
	if !elapse(ctx, d.grace) {
		return
	}
	d.printLine(d.o.Version)
	if !d.out.drain(ctx) {
		return
	}
	timer := time.NewTimer(d.grace)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case b, ok := <-d.in:
		if ok && b == '\r' {
			d.printLine(accepted)
			return
		}
	case <-timer.C:
	}
	d.out.setSpeed(before)
	d.out.setSpoilt(false)
}

// slowDown brings the line back to the speed that the adapter begins with.
func (d *device) slowDown() {
	d.out.setSpeed(d.o.BitRate)
	d.out.setSpoilt(false)
}

// elapse lets time go by; false when the context ended first.
func elapse(ctx context.Context, t time.Duration) bool {
	return pause.For(ctx, t) == nil
}

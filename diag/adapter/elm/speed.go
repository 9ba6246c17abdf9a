package elm

import (
	"context"
	"errors"
	"fmt"
	"time"

	"readback/diag/link"
)

const (
	speedClock = 4_000_000 // AT BRD divides it (data sheet, AT BRD)
	// switchTime is how long the adapter is told to wait at a new speed, in units of 5 ms (AT BRT); it is 75 ms otherwise,
	// which a USB bridge may use up.
	switchTime = "ATBRT28"
	newWait    = 400 * time.Millisecond // for the version at the new speed
	oldWait    = 300 * time.Millisecond // until the adapter is back at the old one
	goneTime   = 50 * time.Millisecond  // in which a line of four characters leaves
	leaveTime  = 300 * time.Millisecond // until what was being done has ended
	proofs     = 3                      // how often the version must arrive whole at the new speed
	fallTime   = 12 * time.Second       // for finding an adapter again at its first speed
)

// raise makes the line faster where the adapter allows that (AT BRD): it says OK, tells its version at the new speed, and
// stays there only if it is told at that speed that it was understood. Where the check fails the old speed is set again.
// Nothing is written into the adapter's memory: it begins with its own speed again after it was unplugged.
func (c *conversation) raise(ctx context.Context, o Options, version string) error {
	for _, speed := range o.Faster {
		if speed <= c.speed || c.setSpeed == nil || version == "" {
			continue
		}
		ok, err := c.try(ctx, switchTime)
		if err != nil || !ok {
			return err // it has no such thing
		}
		ok, err = c.switchTo(ctx, speed, version)
		if err != nil || ok {
			return err
		}
	}
	return nil
}

// switchTo tries one speed.
func (c *conversation) switchTo(ctx context.Context, speed int, version string) (ok bool, err error) {
	c.notice(c.w.drain())
	old := c.speed
	if err := c.w.write(fmt.Sprintf("ATBRD%02X\r", (speedClock+speed/2)/speed)); err != nil {
		return false, err
	}
	e, err := c.w.next(ctx, commandTime)
	for err == nil && !e.prompt && isEcho(e.line, fmt.Sprintf("ATBRD%02X", (speedClock+speed/2)/speed)) {
		e, err = c.w.next(ctx, commandTime)
	}
	switch {
	case errors.Is(err, errSilent):
		return false, c.stop()
	case err != nil:
		return false, err
	case e.prompt || !accepted([]string{e.line}):
		return false, c.w.quiet(ctx, settleTime)
	}
	if err := c.setSpeed(speed); err != nil { // this port has no such speed: the adapter gives up by itself
		return false, c.back(ctx, old)
	}
	if !c.told(ctx, version) {
		return false, c.back(ctx, old)
	}
	// The one carriage return that stands alone: it is part of the command, and would repeat that at worst.
	if err := c.w.write("\r"); err != nil {
		return false, err
	}
	lines, err := c.w.rest(ctx, commandTime)
	for n := 0; err == nil && (accepted(lines) || n > 0) && n < proofs; n++ {
		lines, err = c.w.command(ctx, "ATI", commandTime)
		if err == nil && (len(lines) != 1 || lines[0] != version) {
			err = errSilent
		}
		ok = n == proofs-1
	}
	switch {
	case err == nil && ok:
		c.speed, c.can.faster = speed, true
		c.seen.note(func(q *quality) { q.speed = speed })
		return true, nil
	case ctx.Err() != nil:
		return false, ctx.Err()
	case errors.Is(err, link.ErrGone):
		return false, err
	}
	return false, c.back(ctx, old)
}

// told waits for the version at the new speed.
func (c *conversation) told(ctx context.Context, version string) bool {
	end := time.Now().Add(newWait)
	for {
		e, err := c.w.next(ctx, time.Until(end))
		if err != nil {
			return false
		}
		if !e.prompt && e.line == version {
			return true
		}
	}
}

// back returns to the speed before. An adapter that has stayed at the new one is reset by what is sent first; the lone
// carriage return ends the change of speed, and no request has been sent that it could repeat.
func (c *conversation) back(ctx context.Context, old int) error {
	if err := c.w.write("\r"); err != nil {
		return err
	}
	return c.resetTo(ctx, old)
}

// lower returns to the adapter's first speed after bytes were lost at a faster one. Its settings are lost with that.
func (c *conversation) lower(ctx context.Context) error {
	c.hasty = false
	if err := c.resetTo(ctx, c.first); err != nil {
		return err
	}
	lossy := c.speed
	c.speed, c.lost = c.first, true
	c.seen.note(func(q *quality) { q.speed, q.lossy = c.first, lossy })
	return nil
}

// loses notes that bytes are missing. On a line that we have made faster, that is taken for the reason.
func (c *conversation) loses() {
	if c.speed != c.first {
		c.hasty = true
		return
	}
	c.seen.note(func(q *quality) { q.lost++ })
}

// resetTo resets the adapter, which then has its first speed, and finds it at a speed.
func (c *conversation) resetTo(ctx context.Context, old int) error {
	if err := c.w.write("ATZ\r"); err != nil {
		return err
	}
	if err := c.w.quiet(ctx, oldWait); err != nil {
		return err
	}
	if err := c.setSpeed(old); err != nil {
		return fmt.Errorf("elm: setting %d bit/s: %w", old, err)
	}
	err := c.greet(ctx)
	if errors.Is(err, errSilent) { // it was still starting anew
		err = c.greet(ctx)
	}
	if err != nil {
		return err
	}
	return c.basics(ctx)
}

// leave lets an adapter whose line was made faster begin with its own speed again, as it was found. It does not wait for
// it. One that is still at work is left as it is: the next conversation finds it at the faster speed.
func (c *conversation) leave() {
	if c.speed == c.first || c.w.write("ATZ\r") != nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), leaveTime)
	defer cancel()
	_ = c.w.quiet(ctx, goneTime) // some ports forget what has not left when they are closed
}

// stop interrupts the adapter, see [wire.stop]. One that has been reset since its line was made faster speaks at its
// first speed again: it is found there, and then counts as one that has lost its settings.
func (c *conversation) stop() error {
	err := c.w.stop()
	if !errors.Is(err, errNoPrompt) || c.setSpeed == nil || c.speed == c.first {
		return err
	}
	if e := c.setSpeed(c.first); e != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(c.w.ctx, fallTime)
	defer cancel()
	if e := c.greet(ctx); e != nil {
		return err
	}
	c.speed, c.lost = c.first, true
	c.seen.note(func(q *quality) { q.speed = c.first })
	return nil
}

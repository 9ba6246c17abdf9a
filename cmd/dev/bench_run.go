package main

import (
	"context"
	"fmt"
	"path/filepath"
	"time"
)

// cost is what a program took.
type cost struct {
	took float64 // seconds
	busy float64 // seconds of processor time
	peak float64 // of memory, in megabytes; 0 where the system does not tell
}

// run runs a program and throws away what it prints.
func (b *bench) run(ctx context.Context, name string, args ...string) (cost, error) {
	c := b.command(ctx, b.settings(b.home()), name, args...)
	begun := time.Now()
	err := c.Run()
	u := cost{took: time.Since(begun).Seconds()}
	if err != nil {
		return u, fmt.Errorf("%s: %w", name, err)
	}
	u.busy = (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
	u.peak = peakOf(c.ProcessState)
	return u, nil
}

// explained explains a recording of a million frames with the terminal program, and with tshark, which is told to put
// together and to name the same messages. A pair of runs serves all rows about it.
func (b *bench) explained(ctx context.Context) (ours, theirs cost, err error) {
	type pair struct{ ours, theirs cost }
	key := fmt.Sprintf("explained %d", b.turn)
	if p, ok := b.kept[key].(pair); ok {
		return p.ours, p.theirs, nil
	}
	path, err := b.recording()
	if err != nil {
		return ours, theirs, err
	}
	if ours, err = b.run(ctx, b.binary("readback-cli"), "frames", path); err != nil {
		return ours, theirs, err
	}
	if theirs, err = b.run(ctx, "tshark", "-n", "-r", path, "-d", "can.subdissector,iso15765", "-d", "iso15765.subdissector,uds"); err != nil {
		return ours, theirs, err
	}
	b.kept[key] = pair{ours, theirs}
	return ours, theirs, nil
}

// recording is the recording of a million frames, made once.
func (b *bench) recording() (string, error) {
	path := filepath.Join(b.scratch, "million.pcapng")
	if _, ok := b.kept[path]; ok {
		return path, nil
	}
	b.kept[path] = true
	return path, writeRecording(path, recordedFrames)
}

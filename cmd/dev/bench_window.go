package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// windowCost is what a window takes that nobody touches.
type windowCost struct {
	first  float64 // seconds from its start to its first picture
	busy   float64 // per cent of a processor at rest
	memory float64 // megabytes at rest, all its processes together
}

// restBefore is how long a window is left alone before its rest is measured, restFor how long that takes.
const (
	restBefore = 6 * time.Second
	restFor    = 5 * time.Second
)

// windowRows are measured on a screen that nobody sees, where there is such a thing.
func windowRows() []row {
	if runtime.GOOS != "linux" {
		return nil
	}
	one := func(beside string, of func(windowCost) float64) func(context.Context, *bench) (sample, error) {
		return func(ctx context.Context, b *bench) (sample, error) {
			all, err := b.windows(ctx)
			return sample{of(all["readback"]), of(all[beside])}, err
		}
	}
	first := func(c windowCost) float64 { return c.first }
	busy := func(c windowCost) float64 { return c.busy }
	memory := func(c windowCost) float64 { return c.memory }
	empty, line := "an empty window", "a window with a line of text"
	return []row{
		{name: "window, first picture, beside an empty one", goal: 1.5, runs: 5, anchor: empty, measure: one("empty", first)},
		{name: "window, first picture, beside a line of text", goal: 1.5, runs: 5, anchor: line, measure: one("line", first)},
		{name: "window at rest, processor", within: 0.5, runs: 5, unit: "%", anchor: empty, measure: one("empty", busy)},
		{name: "window at rest, memory, beside an empty one", goal: 1.25, runs: 5, unit: megabytes, anchor: empty, measure: one("empty", memory)},
		{name: "window at rest, memory, beside a line of text", goal: 1.25, runs: 5, unit: megabytes, anchor: line, measure: one("line", memory)},
	}
}

// besides are the windows of the same toolkit that Readback's is measured beside. The empty one reads no font and draws
// nothing; the other one shows what any window costs that can be read.
var besides = []string{"empty", "line"}

// windows starts Readback's window and the others, one after the other. One run of each serves all rows about it.
func (b *bench) windows(ctx context.Context) (map[string]windowCost, error) {
	key := fmt.Sprintf("windows %d", b.turn)
	if all, ok := b.kept[key].(map[string]windowCost); ok {
		return all, nil
	}
	if _, built := b.kept["besides"]; !built {
		programs := []string{"readback"}
		for _, name := range besides {
			programs = append(programs, "dev/testdata/"+name)
		}
		if err := b.build(ctx, nil, programs...); err != nil {
			return nil, err
		}
		b.kept["besides"] = true
	}
	all := map[string]windowCost{}
	var err error
	if all["readback"], err = b.oneWindow(ctx, b.binary("readback"), "--size", "1280x820"); err != nil {
		return nil, err
	}
	for _, name := range besides {
		if all[name], err = b.oneWindow(ctx, b.binary(name)); err != nil {
			return nil, err
		}
	}
	b.kept[key] = all
	return all, nil
}

func (b *bench) oneWindow(ctx context.Context, name string, args ...string) (cost windowCost, err error) {
	ctx, cancel := context.WithTimeout(ctx, windowLimit)
	defer cancel()
	d := &desk{j: &job{project: b.project, log: b.out}, size: "1280x820", theme: "light", home: b.home(), said: &safeBuffer{}, ended: make(chan struct{})}
	if err := os.MkdirAll(d.home, 0o700); err != nil {
		return cost, err
	}
	if d.frames, err = os.MkdirTemp(b.scratch, "frames-"); err != nil {
		return cost, err
	}
	stopScreen, err := d.startScreen(ctx, windowLimit)
	if err != nil {
		return cost, fmt.Errorf("starting Xvfb: %w", err)
	}
	defer stopScreen()
	c := b.command(ctx, append(d.environ(), append(b.settings(d.home), "FYNE_THEME=light")...), name, args...)
	c.Dir, c.Stdout, c.Stderr = d.home, d.said, d.said
	begun := time.Now()
	if err := c.Start(); err != nil {
		return cost, err
	}
	defer func() {
		_ = c.Process.Signal(syscall.SIGTERM)
		_ = c.Wait() // it was told to stop
	}()
	if err := b.pictured(ctx, d); err != nil {
		return cost, fmt.Errorf("%s: %w\n%s", filepath.Base(name), err, lastLines(d.said.String(), 10))
	}
	cost.first = time.Since(begun).Seconds()
	if err := d.Pause(ctx, restBefore); err != nil {
		return cost, err
	}
	before, _, err := familyOf(c.Process.Pid)
	if err != nil {
		return cost, err
	}
	if err := d.Pause(ctx, restFor); err != nil {
		return cost, err
	}
	after, memory, err := familyOf(c.Process.Pid)
	cost.busy, cost.memory = 100*(after-before)/restFor.Seconds(), memory
	return cost, err
}

// pictured waits until the middle of the screen is no longer black. Xvfb keeps the screen in a file of X's format for window
// dumps (XWDFile.h of X11): numbers of 32 bits, the highest byte first; the first is the length of the head, the thirteenth the
// length of a row of points in bytes, the twentieth how many colours of 12 bytes stand between the head and the points.
// Looking there takes no time from what is measured.
func (b *bench) pictured(ctx context.Context, d *desk) error {
	f, err := os.Open(filepath.Join(d.frames, "Xvfb_screen0"))
	if err != nil {
		return err
	}
	defer f.Close()
	head := make([]byte, 80)
	if _, err := f.ReadAt(head, 0); err != nil {
		return err
	}
	number := func(n int) int64 { return int64(binary.BigEndian.Uint32(head[4*n:])) }
	begin, row := number(0)+12*number(19), number(12)
	points := make([]byte, 4*64)
	for tick := time.NewTicker(time.Millisecond); ; {
		sum := 0
		for y := int64(400); y < 464; y += 8 {
			if _, err := f.ReadAt(points, begin+y*row+4*600); err != nil {
				return err
			}
			for _, v := range points {
				sum += int(v)
			}
		}
		if sum > 8*len(points)*255/10 {
			tick.Stop()
			return nil
		}
		select {
		case <-ctx.Done():
			return errors.New("no picture came")
		case <-tick.C:
		}
	}
}

// familyOf is what a process and all that it has started have taken: seconds of processor time, and megabytes of memory now,
// in which what several processes share counts once (proc(5): stat, and Pss in smaps_rollup).
func familyOf(pid int) (busy, memory float64, err error) {
	list, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		return 0, 0, err
	}
	stats := map[int][]string{} // what stands behind the name, from the state on
	for _, path := range list {
		text, err := os.ReadFile(path)
		if err != nil {
			continue // it has ended
		}
		id, _ := strconv.Atoi(filepath.Base(filepath.Dir(path)))
		if at := bytes.LastIndexByte(text, ')'); at > 0 {
			stats[id] = strings.Fields(string(text[at+1:]))
		}
	}
	if len(stats[pid]) < 13 {
		return 0, 0, fmt.Errorf("process %d has ended", pid)
	}
	number := func(id, field int) float64 {
		v, _ := strconv.ParseFloat(stats[id][field], 64)
		return v
	}
	const ticks = 100 // in a second: USER_HZ
	for id := range stats {
		for at := id; at > 1 && len(stats[at]) > 12; at = int(number(at, 1)) {
			if at == pid {
				busy += (number(id, 11) + number(id, 12)) / ticks
				memory += shareOf(id)
				break
			}
		}
	}
	return busy, memory, nil
}

// shareOf is the memory of a process in megabytes, with its share of what it has in common with others; 0 when it has ended.
func shareOf(pid int) float64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/smaps_rollup", pid))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(text)) {
		if words := strings.Fields(line); len(words) > 1 && words[0] == "Pss:" {
			kb, _ := strconv.ParseFloat(words[1], 64)
			return kb * 1024 / 1e6
		}
	}
	return 0
}

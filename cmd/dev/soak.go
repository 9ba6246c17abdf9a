package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"image"
	"io"
	"regexp"
	"slices"
	"strconv"
	"time"
)

// soakChore leaves the window alone with a full bus for a long time, and looks whether it grows.
func soakChore(ctx context.Context, p *project, args []string) error {
	flags := flag.NewFlagSet("soak", flag.ContinueOnError)
	flags.SetOutput(p.out)
	long := flags.Duration("for", time.Hour, "how long; a minute at least")
	if err := flags.Parse(args); err != nil || flags.NArg() > 0 || *long < time.Minute {
		return &exit{code: exitUsage}
	}
	if err := p.install(ctx, append(windowNeeds(), displayNeeds()...)); err != nil {
		return err
	}
	if err := p.build(ctx, nil, "readback"); err != nil {
		return err
	}
	return (&job{project: p, log: p.out}).windowRun(ctx, soakScript(*long, p.out))
}

// fullBus is a car on a bus of 500 kbit/s that is full: a frame of eight bytes takes up to 270 microseconds there.
const fullBus = `{
  "version": 1,
  "base": "courier",
  "note": "Invented data: the courier on a bus that is full.",
  "traffic": [
    {"id": "0A0", "every": 1, "data": "00 00 00 00 00 00 00 00", "counter": 7},
    {"id": "0B0", "every": 1, "data": "11 00 00 00 00 00 00 00", "counter": 7},
    {"id": "0C0", "every": 1, "data": "22 00 00 00 00 00 00 00", "counter": 7},
    {"id": "120", "every": 1, "data": "00 00 00 10 00 00 00 80", "speed": 0, "counter": 7}
  ]
}
`

// How a soak is divided: so many samples are taken at most, one a minute at most; of every soakRound of them the first
// soakLive are taken while live values are shown, the others at the conversation.
const (
	soakSamples = 60
	soakRound   = 5
	soakLive    = 3
)

// soakScript shows live values and the conversation by turns, and takes samples.
func soakScript(long time.Duration, table io.Writer) windowScript {
	every := min(time.Minute, long/soakSamples)
	script := windowScript{name: "soak", width: 1280, height: 860, theme: "light", limit: long + 3*time.Minute, car: fullBus}
	script.on.env = []string{"READBACK_HEARD=1s"}
	script.do = func(ctx context.Context, d *desk) (err error) {
		if err := inOrder(
			func() error { return d.Window(ctx, windowTitle) },
			func() error { return d.Until(ctx, "soak-link", firstSight, hasButton) },
			func() error { return d.chooseLive(ctx) },
			d.byPointer(ctx).press,
			func() error { return d.moves(ctx) },
		); err != nil {
			return err
		}
		fmt.Fprintf(table, "%s, all processes of the window, the simulated car in it\n\n%8s  %-12s %10s %10s %10s %6s\n", machine(), "time", "page", "memory", "processor", "frames/s", "gone")
		s := soak{every: every, at: time.Now()}
		if s.heard, _, err = lastHeard(d.said.String()); err != nil {
			return err
		}
		for begun := time.Now(); time.Since(begun) < long; {
			page := "live"
			switch at := len(s.samples) % soakRound; {
			case at == soakLive:
				if err := d.Key(ctx, "ctrl+t"); err != nil {
					return err
				}
				fallthrough
			case at > soakLive:
				page = "conversation"
			case at == 0 && len(s.samples) > 0:
				if err := d.readOn(ctx); err != nil {
					return err
				}
			}
			x, err := s.sample(ctx, d)
			if err != nil {
				return err
			}
			fmt.Fprintf(table, "%8s  %-12s %7.1f MB %8.1f %% %10.0f %6d\n", time.Since(begun).Round(time.Second), page, x.memory, 100*x.busy, x.heard, x.gone)
		}
		if _, err := d.Shot(ctx, "soak-end"); err != nil {
			return err
		}
		return s.judge(table)
	}
	return script
}

// chooseLive turns to the live values and chooses some that change. Behind the field stands the list; Return chooses a row.
func (d *desk) chooseLive(ctx context.Context) error {
	if err := errors.Join(d.Key(ctx, "ctrl+g"), d.Pause(ctx, 5*time.Second)); err != nil {
		return err
	}
	for _, key := range []string{"Tab", "Tab", "Tab", "Down", "Down", "Return", "Down", "Return", "Down", "Return", "Down", "Down", "Return"} {
		if err := errors.Join(d.Key(ctx, key), d.Pause(ctx, 300*time.Millisecond)); err != nil {
			return err
		}
	}
	return d.Until(ctx, "soak-chosen", 10*time.Second, func(p image.Image) bool { return hasButton(p) })
}

// readOn begins to read again on the page of live values; the first Tab there goes to the button for it.
func (d *desk) readOn(ctx context.Context) error {
	return inOrder(
		func() error { return d.Key(ctx, "ctrl+g") },
		func() error { return d.Pause(ctx, time.Second) },
		d.byKeyboard(ctx).press,
		func() error { return d.moves(ctx) },
	)
}

// moves waits until something changes on the screen by itself.
func (d *desk) moves(ctx context.Context) error {
	if err := d.Pause(ctx, 2*time.Second); err != nil {
		return err
	}
	before, err := d.Shot(ctx, "soak-before")
	if err != nil {
		return err
	}
	return d.Until(ctx, "soak-moves", 20*time.Second, func(now image.Image) bool { return changed(before, now) > 20 })
}

// soak are the samples so far.
type soak struct {
	every   time.Duration
	samples []soakSample
	heard   float64   // frames until now
	at      time.Time // of the sample before
}

// soakSample is what the window took since the sample before.
type soakSample struct {
	memory float64 // megabytes at its end
	busy   float64 // seconds of a processor in a second
	heard  float64 // frames in a second
	gone   int     // entries of the record that the window has missed until now
}

// sample lets a time go by and measures.
func (s *soak) sample(ctx context.Context, d *desk) (x soakSample, err error) {
	begun := time.Now()
	before, _, err := familyOf(d.program.Pid)
	if err != nil {
		return x, err
	}
	if err := d.Pause(ctx, s.every); err != nil {
		return x, err
	}
	after, memory, err := familyOf(d.program.Pid)
	if err != nil {
		return x, err
	}
	took := time.Since(begun).Seconds()
	heard, gone, err := lastHeard(d.said.String())
	if err != nil {
		return x, err
	}
	x = soakSample{memory: memory, busy: (after - before) / took, heard: (heard - s.heard) / time.Since(s.at).Seconds(), gone: gone}
	s.heard, s.at, s.samples = heard, time.Now(), append(s.samples, x)
	return x, nil
}

var heardLine = regexp.MustCompile(`readback: heard (\d+), gone (\d+)\n`)

// lastHeard is what the window has said last about what it has heard.
func lastHeard(log string) (heard float64, gone int, err error) {
	all := heardLine.FindAllStringSubmatch(log[max(0, len(log)-4096):], -1)
	if len(all) == 0 {
		return 0, 0, fmt.Errorf("the window does not say what it hears:\n%s", lastLines(log, 10))
	}
	last := all[len(all)-1]
	heard, err = strconv.ParseFloat(last[1], 64)
	if err == nil {
		gone, err = strconv.Atoi(last[2])
	}
	return heard, gone, err
}

// flat is by how much memory may have grown from the first third to the last.
const flat = 1.05

// judge: after a warm-up, a sixth of the samples, the median of the memory in the last third of them is at most five per cent
// above that in the first; nothing was missed, and something was heard all the time.
func (s *soak) judge(table io.Writer) error {
	kept := s.samples[len(s.samples)/6:]
	third := len(kept) / 3
	if third == 0 {
		return fmt.Errorf("only %d samples", len(s.samples))
	}
	memory := func(of []soakSample) float64 {
		var all []float64
		for _, x := range of {
			all = append(all, x.memory)
		}
		return median(all)
	}
	first, last := memory(kept[:third]), memory(kept[len(kept)-third:])
	var busy []float64
	for _, x := range kept {
		busy = append(busy, x.busy)
	}
	fmt.Fprintf(table, "\nwithout the first %d samples: memory %.1f MB in the first third, %.1f MB in the last, %+.1f %% (at most %+.0f %%); processor %.1f %%; %.0f frames heard, %d gone\n",
		len(s.samples)-len(kept), first, last, 100*(last/first-1), 100*(flat-1), 100*median(busy), s.heard, s.samples[len(s.samples)-1].gone)
	switch silent := slices.IndexFunc(s.samples, func(x soakSample) bool { return x.heard <= 0 }); {
	case s.samples[len(s.samples)-1].gone > 0:
		return errors.New("the window has missed something")
	case silent >= 0:
		return fmt.Errorf("in sample %d nothing was heard", silent+1)
	case last > first*flat:
		return fmt.Errorf("memory grows: %.1f MB, then %.1f MB", first, last)
	}
	return nil
}

package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"image"
	"math/rand/v2"
	"slices"
	"strings"
	"time"
)

// stormChore throws clicks and keys at the window for a while.
func stormChore(ctx context.Context, p *project, args []string) error {
	flags := flag.NewFlagSet("storm", flag.ContinueOnError)
	flags.SetOutput(p.out)
	long := flags.Duration("for", 5*time.Minute, "how long")
	seed := flags.Uint64("seed", uint64(time.Now().UnixNano()), "where the order of clicks and keys begins")
	if err := flags.Parse(args); err != nil || flags.NArg() > 0 {
		return &exit{code: exitUsage}
	}
	if err := p.install(ctx, append(windowNeeds(), displayNeeds()...)); err != nil {
		return err
	}
	j := &job{project: p, log: p.out}
	for _, program := range []string{"readback", "readback-cli"} {
		if err := j.build(ctx, nil, program); err != nil {
			return err
		}
	}
	fmt.Fprintf(p.out, "seed %d\n", *seed)
	return j.windowRun(ctx, stormScript(*long, *seed))
}

// stormScript is a visit by somebody who clicks and types at random. The window must outlive it, and whatever reaches
// the car must be a question or stand in the journal. The car is a program of its own, behind a line with a witness.
func stormScript(long time.Duration, seed uint64) windowScript {
	return windowScript{name: "storm", width: 1280, height: 820, theme: "light", limit: long + 2*time.Minute, witnessed: true, do: func(ctx context.Context, d *desk) error {
		// It begins where most can go wrong: with a gate that is open and a request on its way.
		h := d.byKeyboard(ctx)
		if err := inOrder(func() error { return d.toGate(ctx, h) }, h.holdKey); err != nil {
			return err
		}
		s := &storm{desk: d, dice: rand.New(rand.NewPCG(seed, 0))}
		for end := time.Now().Add(long); time.Now().Before(end); s.acts++ {
			if err := s.act(ctx); err != nil {
				return fmt.Errorf("seed %d, act %d: %w", seed, s.acts, err)
			}
		}
		if err := s.reacts(ctx); err != nil {
			return fmt.Errorf("seed %d, after %d acts: %w", seed, s.acts, err)
		}
		return s.honest(ctx)
	}}
}

type storm struct {
	*desk
	dice *rand.Rand
	acts int
}

// The words of a storm: what an owner types somewhere, and what nobody should.
var (
	stormTexts = []string{request, word, "7E5 02 10 03", "7DF 01 04", "7E0 03 22 F1 90", "7E5 03 2E 01 02", "P0A08", "12,4", "0.3", "OL", "lock",
		"7E5 04 14 FF FF F", "7E5 10 14", "zzz", "-1", "0x", "%s", "<b>", "../../x"}
	stormKeys = []string{"Tab", "Tab", "Tab", "Tab", "shift+Tab", "Return", "Return", "space", "space", "Escape", "Up", "Down", "Down", "Left", "Right",
		"Page_Down", "Page_Up", "Home", "End", "BackSpace", "Delete", "F1", "ctrl+a", "ctrl+c", "ctrl+v", "ctrl+z",
		"ctrl+0", "ctrl+1", "ctrl+2", "ctrl+3", "ctrl+4", "ctrl+5", "ctrl+6", "ctrl+l", "ctrl+t", "ctrl+h", "ctrl+p"}
)

// act is one thing that somebody does.
func (s *storm) act(ctx context.Context) error {
	if err := s.revive(ctx); err != nil {
		return err
	}
	err := s.throw(ctx)
	select {
	case <-s.ended: // told to quit while it was thrown at
		return s.ending
	default:
		return errors.Join(err, s.Pause(ctx, 40*time.Millisecond))
	}
}

func (s *storm) throw(ctx context.Context) error {
	switch n := s.dice.IntN(100); {
	case n < 35:
		return s.Click(ctx, s.dice.IntN(1280), s.dice.IntN(800))
	case n < 45:
		return s.button(ctx, func(p image.Point) error { return s.Click(ctx, p.X, p.Y) })
	case n < 48:
		return s.button(ctx, func(p image.Point) error { return s.Hold(ctx, p, 2500*time.Millisecond) })
	case n < 53:
		_, err := s.xdotool(ctx, "mousemove", fmt.Sprint(s.dice.IntN(1280)), fmt.Sprint(s.dice.IntN(800)), "click", "--repeat", "4", fmt.Sprint(4+s.dice.IntN(2)))
		return err
	case n < 56:
		_, err := s.xdotool(ctx, "mousemove", fmt.Sprint(s.dice.IntN(1280)), fmt.Sprint(s.dice.IntN(800)), "mousedown", "1",
			"mousemove", fmt.Sprint(s.dice.IntN(1280)), fmt.Sprint(s.dice.IntN(800)), "mouseup", "1")
		return err
	case n < 68:
		return s.Type(ctx, stormTexts[s.dice.IntN(len(stormTexts))])
	default:
		return s.Key(ctx, stormKeys[s.dice.IntN(len(stormKeys))])
	}
}

// button does something to the button that goes on, where one is in sight.
func (s *storm) button(ctx context.Context, do func(image.Point) error) error {
	picture, err := s.Shot(ctx, "storm-now")
	if err != nil {
		return err
	}
	p, ok := wideBlock(picture, accent)
	if !ok {
		return nil
	}
	return do(p)
}

// revive opens the window again where the storm has found the way out.
func (s *storm) revive(ctx context.Context) error {
	select {
	case <-s.ended:
	default:
		return nil
	}
	if s.ending != nil {
		return fmt.Errorf("readback ended by itself: %w\n%s", s.ending, lastLines(s.said.String(), 20))
	}
	if err := s.startWindow(ctx); err != nil {
		return err
	}
	return s.Window(ctx, windowTitle)
}

// reacts: after all that, the window still draws what it is told.
func (s *storm) reacts(ctx context.Context) error {
	if err := s.revive(ctx); err != nil {
		return err
	}
	before, err := s.Shot(ctx, "storm-end")
	if err != nil {
		return err
	}
	keys := []string{"Escape", "ctrl+0", "ctrl+3", "Tab"}
	n := 0
	return s.Until(ctx, "storm-reacts", 15*time.Second, func(now image.Image) bool {
		n++
		return changed(before, now) > 100 || s.Key(ctx, keys[n%len(keys)]) != nil
	})
}

// changed counts the points in which two pictures of a screen differ.
func changed(a, b image.Image) (n int) {
	bounds := a.Bounds()
	for y := bounds.Min.Y; y < bounds.Max.Y; y++ {
		for x := bounds.Min.X; x < bounds.Max.X; x++ {
			if !same(a.At(x, y), b.At(x, y)) {
				n++
			}
		}
	}
	return n
}

// honest compares what the witness saw with the journal: each frame that is more than a question stands there once, and
// what the car took stands on the line.
func (s *storm) honest(ctx context.Context) error {
	if err := s.stopWindow(); err != nil {
		return err
	}
	journal, err := s.journal(ctx)
	if err != nil {
		return err
	}
	acts := s.witness.acts()
	fmt.Fprintf(s.j.log, "storm: %d acts, %d frames to the car, %d of them more than a question; %d rows in the journal\n",
		s.acts, s.witness.count(), len(acts), len(journal))
	if len(acts) == 0 {
		return errors.New("no request that is more than a question went to the car, and one should have")
	}
	left := slices.Clone(acts)
	for _, row := range journal {
		if at := slices.Index(left, row.Request); at >= 0 {
			left = slices.Delete(left, at, at+1)
		} else if row.Outcome == "accepted" || row.Outcome == "refused" {
			return fmt.Errorf("the journal says %s was %s, and the line never saw it", row.Request, row.Outcome)
		}
	}
	if len(left) > 0 {
		return fmt.Errorf("went to the car and is in no journal: %q", left)
	}
	return nil
}

// journalRow is a change as the terminal program tells it.
type journalRow struct {
	Request, Outcome string
	ReadBack         int64
}

// journal reads the logbook of this run with the terminal program.
func (d *desk) journal(ctx context.Context) ([]journalRow, error) {
	words := d.on.terminal
	if len(words) == 0 {
		if err := d.j.build(ctx, nil, "readback-cli"); err != nil {
			return nil, err
		}
		words = []string{d.j.binary("readback-cli")}
	}
	text, err := d.j.output(ctx, d.environ(), words[0], append(slices.Clone(words[1:]), "--json", "history")...)
	if err != nil {
		return nil, err
	}
	return readJournal(text)
}

// readJournal reads the changes in the document of a logbook.
func readJournal(text string) ([]journalRow, error) {
	var doc struct {
		Cars []struct{ Journal []journalRow }
	}
	if err := json.NewDecoder(strings.NewReader(text)).Decode(&doc); err != nil {
		return nil, fmt.Errorf("the logbook: %w", err)
	}
	var rows []journalRow
	for _, c := range doc.Cars {
		rows = append(rows, c.Journal...)
	}
	return rows, nil
}

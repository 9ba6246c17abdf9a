package main

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/explain"
	"readback/diag/heard"
	"readback/diag/link"
	"readback/diag/signal"
	"readback/diag/talk"
	"readback/diag/trace"
)

type framesCmd struct {
	File   string `arg:"" help:"The recording, a pcapng file of CAN frames."`
	DBC    string `name:"dbc" placeholder:"FILE" help:"A signal definition file; what the running car says is decoded with it."`
	Module string `placeholder:"ID" help:"Only what was said with the module that is asked or answers on this identifier."`
	Car    string `help:"Name of a car in the logbook, whose modules are then known by name."`
	Raw    bool   `help:"Show every frame of a message."`
}

func (c *framesCmd) Run(e *env) error {
	o, err := c.options(e)
	if err != nil {
		return err
	}
	if _, err := os.Stat(c.File); err != nil {
		return usage{"the recording can't be opened: " + err.Error()}
	}
	var signals *signal.File
	if c.DBC != "" {
		if signals, err = readSignals(e, c.DBC); err != nil {
			return err
		}
	}
	out := bufio.NewWriterSize(e.out, 1<<16)
	t := &telling{cmd: c, o: o, talk: talk.New(talk.Options{Explain: o}), heard: heard.New(heard.Options{Signals: signals}),
		talked: ids{wide: map[uint32]bool{}}, known: map[string]string{}}
	if t.only, err = c.only(); err != nil {
		return err
	}
	t.form = &textForm{w: out, raw: c.Raw}
	if e.json {
		t.form = &jsonForm{w: out, raw: c.Raw}
	}
	err = t.all(e)
	if ferr := out.Flush(); ferr != nil {
		return fmt.Errorf("writing: %w", ferr)
	}
	var damaged *trace.FormatError
	if errors.As(err, &damaged) {
		fmt.Fprintf(e.err, "readback-cli: %s; the %d frames before are shown\n", strings.TrimPrefix(damaged.Error(), "trace: "), t.heard.Frames())
		return errNo
	}
	return err
}

func (c *framesCmd) options(e *env) (o explain.Options, err error) {
	if c.Car != "" {
		o.Modules, err = e.modulesOf(c.Car)
	}
	return o, err
}

func (c *framesCmd) only() (link.ID, error) {
	if c.Module == "" {
		return link.ID{}, nil
	}
	id, err := link.ParseID(strings.ToUpper(c.Module))
	if err != nil {
		return id, usage{fmt.Sprintf("--module %s: an identifier has 3 hex digits up to 7FF, or 8 up to 1FFFFFFF", c.Module)}
	}
	return id, nil
}

// readSignals reads a definition file; what could not be read of it is told, and the rest is used.
func readSignals(e *env, path string) (*signal.File, error) {
	f, err := signal.ReadFile(path)
	if err != nil {
		return nil, usage{err.Error()}
	}
	const most = 5
	for i, p := range f.Problems {
		if i == most {
			fmt.Fprintf(e.err, "NOTICE  %s: %d more problems\n", path, len(f.Problems)-most)
			break
		}
		fmt.Fprintf(e.err, "NOTICE  %s: %s\n", path, p)
	}
	return f, nil
}

// form is how a recording is told.
type form interface {
	briefs() bool // whether it tells what a question is in short
	begin(file string)
	exchange(x *talk.Exchange, said func(*talk.Message) string)
	identifier(r heard.Row, values []signal.Value)
	end(s framesSummary)
}

// framesSummary is the whole recording in numbers.
type framesSummary struct {
	Frames    int     `json:"frames"`
	Exchanges int     `json:"exchanges"`
	Other     int     `json:"other"`    // frames outside the conversation
	Unlisted  int     `json:"unlisted"` // frames of more identifiers than are listed
	LastedMs  float64 `json:"lastedMs"`
	Problem   string  `json:"problem"` // why the file was not read to its end, "" when it was
}

// telling goes through a recording once, in bounded memory. Its table of what is heard belongs to the goroutine that reads,
// its conversation to the one that puts together, all else to the one that tells.
type telling struct {
	cmd    *framesCmd
	talk   *talk.Talk
	heard  *heard.Table
	form   form
	only   link.ID
	talked ids // identifiers of the conversation
	o      explain.Options
	known  map[string]string // explanations of messages that were told already
	key    []byte            // room
	told   int
}

// ids is a set of identifiers.
type ids struct {
	narrow [can.MaxID + 1]bool
	wide   map[uint32]bool
}

func (s *ids) add(id link.ID) {
	if !id.Extended && id.Value <= can.MaxID {
		s.narrow[id.Value] = true
	} else if !s.wide[id.Value] {
		s.wide[id.Value] = true
	}
}

func (s *ids) has(id link.ID) bool {
	if !id.Extended && id.Value <= can.MaxID {
		return s.narrow[id.Value]
	}
	return s.wide[id.Value]
}

// Pieces of a recording that are on their way from one goroutine to the next. Each goes round in a circle, so that there are
// never more of them.
const (
	batches = 4
	pieces  = 8
)

// all tells the recording. Reading, putting together and telling go on beside one another; what waits between them is
// bounded. When the context ends, reading ends, and what has been read is told.
func (t *telling) all(e *env) error {
	t.form.begin(t.cmd.File)
	read, rows := newCircle[trace.Batch](batches), newCircle[talk.Taken](pieces)
	var work sync.WaitGroup
	var err error
	work.Go(func() { err = t.read(e.ctx, read) })
	work.Go(func() { t.join(read, rows) })
	for p := range rows.full {
		t.tell(p.Exchanges)
		rows.free <- p
	}
	work.Wait()
	s := framesSummary{Frames: t.heard.Frames(), Exchanges: t.told, Other: t.talk.Other(), Unlisted: t.heard.Unlisted(), LastedMs: millis(t.heard.Lasted())}
	if err != nil {
		s.Problem = err.Error()
	}
	var values []signal.Value
	for i := range t.heard.Len() {
		r := t.heard.Row(i)
		if t.only.IsZero() && !t.talked.has(r.ID) {
			values = t.heard.Values(values[:0], i)
			t.form.identifier(r, values)
		}
	}
	t.form.end(s)
	return err
}

// circle is what goes from one goroutine to another and comes back empty.
type circle[T any] struct{ full, free chan *T }

func newCircle[T any](n int) circle[T] {
	c := circle[T]{make(chan *T, n), make(chan *T, n)}
	for range n {
		c.free <- new(T)
	}
	return c
}

// read hands on what is in the file.
func (t *telling) read(ctx context.Context, out circle[trace.Batch]) error {
	defer close(out.full)
	r, err := trace.Open(t.cmd.File)
	if err != nil {
		return err
	}
	defer r.Close()
	for {
		b := <-out.free
		err := r.Fill(b)
		t.heard.Add(b.Entries)
		out.full <- b
		switch {
		case err == io.EOF:
			return nil
		case err != nil:
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		}
	}
}

// join puts frames together and hands on the rows that can't change any more.
func (t *telling) join(in circle[trace.Batch], out circle[talk.Taken]) {
	defer close(out.full)
	take := func() {
		for {
			p := <-out.free
			p.Bare = !t.form.briefs()
			if !t.talk.Take(p) {
				out.free <- p
				return
			}
			out.full <- p
		}
	}
	for b := range in.full {
		t.talk.Add(b.Entries)
		in.free <- b
		take()
	}
	t.talk.End()
	take()
}

// tell tells exchanges, those with the one module where only they are wanted.
func (t *telling) tell(list []talk.Exchange) {
	for i := range list {
		x := &list[i]
		mine := t.only.IsZero()
		for k := range x.Messages {
			m := &x.Messages[k]
			mine = mine || m.Address.Request == t.only || m.Address.Answer == t.only
			for j := range m.Frames {
				t.talked.add(m.Frames[j].ID)
			}
		}
		if mine {
			t.told++
			t.form.exchange(x, t.said)
		}
	}
}

// said explains a message in a sentence. Recordings repeat themselves, so explanations are kept for a while.
func (t *telling) said(m *talk.Message) string {
	const most = 4096
	if !m.Whole {
		return fmt.Sprintf("%s Only %d of its %d bytes are there.", explain.MessageSummary(m.Address, m.Payload, t.o), len(m.Payload), m.Want)
	}
	a := &m.Address
	t.key = append(t.key[:0], byte(a.Mode), bit(a.Functional)|bit(a.Request.Extended)<<1|bit(a.Answer.Extended)<<2, a.Target, a.Source)
	t.key = binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(t.key, a.Request.Value), a.Answer.Value)
	t.key = append(t.key, m.Payload...)
	if s, ok := t.known[string(t.key)]; ok {
		return s
	}
	s := explain.MessageSummary(m.Address, m.Payload, t.o)
	if len(t.known) == most {
		clear(t.known)
	}
	t.known[string(t.key)] = s
	return s
}

func bit(set bool) byte {
	if set {
		return 1
	}
	return 0
}

func millis(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"

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

// batch is how many frames are handed on at once. Rows are told as soon as they can't change any more, and then dropped.
const batch = 4096

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
		talked: map[link.ID]bool{}, known: map[message]string{}}
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
	talked map[link.ID]bool // identifiers of the conversation
	recent link.ID          // the last of them
	o      explain.Options
	known  map[message]string // explanations of messages that were told already
	told   int
}

// all tells the recording. Reading, putting together and telling go on beside one another; what waits between them is
// bounded.
func (t *telling) all(e *env) error {
	t.form.begin(t.cmd.File)
	read, free, rows := make(chan []trace.Entry, 1), make(chan []trace.Entry, 4), make(chan []talk.Exchange, 1)
	var work sync.WaitGroup
	var err error
	work.Go(func() {
		defer close(read)
		err = t.read(e.ctx, read, free)
	})
	work.Go(func() {
		defer close(rows)
		t.join(read, free, rows)
	})
	for list := range rows {
		for i := range list {
			t.told++
			t.form.exchange(&list[i], t.said)
		}
	}
	work.Wait()
	s := framesSummary{Frames: t.heard.Frames(), Exchanges: t.told, Other: t.talk.Other(), Unlisted: t.heard.Unlisted(), LastedMs: millis(t.heard.Lasted())}
	if err != nil {
		s.Problem = err.Error()
	}
	var values []signal.Value
	for i := range t.heard.Len() {
		r := t.heard.Row(i)
		if t.only.IsZero() && !t.talked[r.ID] {
			values = t.heard.Values(values[:0], i)
			t.form.identifier(r, values)
		}
	}
	t.form.end(s)
	return err
}

// read hands on what is in the file. Slices that come back are used again.
func (t *telling) read(ctx context.Context, read chan<- []trace.Entry, free <-chan []trace.Entry) (err error) {
	entries := make([]trace.Entry, 0, batch)
	for entry, failed := range trace.ReadFile(t.cmd.File) {
		if failed != nil {
			err = failed
			break
		}
		if entries = append(entries, entry); len(entries) < batch {
			continue
		}
		if err = ctx.Err(); err != nil {
			break
		}
		t.heard.Add(entries)
		read <- entries
		select {
		case entries = <-free:
			entries = entries[:0]
		default:
			entries = make([]trace.Entry, 0, batch)
		}
	}
	t.heard.Add(entries)
	read <- entries
	return err
}

// join puts frames together and hands on the rows that can't change any more.
func (t *telling) join(read <-chan []trace.Entry, free chan<- []trace.Entry, rows chan<- []talk.Exchange) {
	for entries := range read {
		t.talk.Add(entries)
		select {
		case free <- entries:
		default:
		}
		rows <- t.settled()
	}
	t.talk.End()
	rows <- t.settled()
}

func (t *telling) settled() (out []talk.Exchange) {
	n := int(t.talk.Settled() - t.talk.First())
	out = make([]talk.Exchange, 0, n)
	for i := range n {
		x := t.talk.Exchange(i)
		mine := t.only.IsZero()
		for k := range x.Messages {
			m := &x.Messages[k]
			mine = mine || m.Address.Request == t.only || m.Address.Answer == t.only
			for _, f := range m.Frames {
				if f.ID != t.recent {
					t.talked[f.ID], t.recent = true, f.ID
				}
			}
		}
		if mine {
			out = append(out, x)
		}
	}
	t.talk.Forget(t.talk.Settled())
	return out
}

// message is what tells two messages apart.
type message struct {
	address link.Address
	payload string
}

// said explains a message in a sentence. Recordings repeat themselves, so explanations are kept for a while.
func (t *telling) said(m *talk.Message) string {
	const most = 4096
	key := message{m.Address, string(m.Payload)}
	if s, ok := t.known[key]; ok && m.Whole {
		return s
	}
	s := explain.MessageSummary(m.Address, m.Payload, t.o)
	if !m.Whole {
		return fmt.Sprintf("%s Only %d of its %d bytes are there.", s, len(m.Payload), m.Want)
	}
	if len(t.known) == most {
		clear(t.known)
	}
	t.known[key] = s
	return s
}

func millis(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

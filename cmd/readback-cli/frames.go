package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"strings"
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

// batch is how many frames are taken in at once. Rows are told as soon as they can't change any more, and then dropped.
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
	t := &telling{cmd: c, talk: talk.New(talk.Options{Explain: o}), heard: heard.New(heard.Options{Signals: signals}),
		talked: map[link.ID]bool{}, known: map[string]string{}}
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
		return no
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

// telling goes through a recording once, in bounded memory.
type telling struct {
	cmd    *framesCmd
	talk   *talk.Talk
	heard  *heard.Table
	form   form
	only   link.ID
	talked map[link.ID]bool  // identifiers of the conversation
	known  map[string]string // explanations of messages that were told already
	told   int
}

func (t *telling) all(e *env) error {
	t.form.begin(t.cmd.File)
	entries := make([]trace.Entry, 0, batch)
	var err error
	for entry, failed := range trace.ReadFile(t.cmd.File) {
		if failed != nil {
			err = failed
			break
		}
		if entries = append(entries, entry); len(entries) == batch {
			if err = e.ctx.Err(); err != nil {
				break
			}
			t.add(entries)
			entries = entries[:0]
		}
	}
	t.add(entries)
	t.talk.End()
	t.rows()
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

func (t *telling) add(entries []trace.Entry) {
	t.talk.Add(entries)
	t.heard.Add(entries)
	t.rows()
}

// rows tells what is settled.
func (t *telling) rows() {
	n := int(t.talk.Settled() - t.talk.First())
	for i := range n {
		x := t.talk.Exchange(i)
		mine := t.only.IsZero()
		for k := range x.Messages {
			m := &x.Messages[k]
			mine = mine || m.Address.Request == t.only || m.Address.Answer == t.only
			for _, f := range m.Frames {
				t.talked[f.ID] = true
			}
		}
		if mine {
			t.told++
			t.form.exchange(&x, t.said)
		}
	}
	t.talk.Forget(t.talk.Settled())
}

// said explains a message in a sentence. Recordings repeat themselves, so explanations are kept for a while.
func (t *telling) said(m *talk.Message) string {
	const most = 4096
	key := m.Address.String() + string(m.Payload)
	if s, ok := t.known[key]; ok && m.Whole {
		return s
	}
	s := t.talk.Explain(*m).Summary
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

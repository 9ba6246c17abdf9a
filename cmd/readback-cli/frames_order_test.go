package main

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/explain"
	"readback/diag/heard"
	"readback/diag/link"
	"readback/diag/signal"
	"readback/diag/talk"
	"readback/diag/trace"
)

// busyRecording is a recording of n frames in which everything happens that can: questions, answers in one frame and in
// several, some of them torn, refusals, remote frames, identifiers of both widths, troubles, and pauses.
func busyRecording(t *testing.T, n int, seed uint64) string {
	r := rand.New(rand.NewPCG(seed, 7))
	ids := []uint32{0x7E0, 0x7E8, 0x7DF, 0x7E1, 0x7E9, 0x745, 0x765, 0x6F1, 0x640, 0x18DA10F1, 0x18DAF110, 0x18DB33F1, 0x100, 0x101, 0x18FEF100}
	services := []byte{0x22, 0x62, 0x19, 0x59, 0x7F, 0x14, 0x54, 0x10, 0x50, 0x3E, 0x7E, 0x01, 0x41, 0x09, 0x49}
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	entries := make([]trace.Entry, 0, n)
	for i := range n {
		f := can.Frame{ID: ids[r.IntN(len(ids))], Length: 8}
		f.IsExtended = f.ID > can.MaxID
		for k := range f.Data {
			f.Data[k] = byte(r.Uint32())
		}
		switch k := r.IntN(10); {
		case k < 6:
			f.Data[0], f.Data[1], f.Data[2] = byte(1+r.IntN(7)), services[r.IntN(len(services))], byte(r.IntN(3))
			if k < 3 {
				f.Data[2], f.Data[3] = 0xF1, byte(0x80+r.IntN(32))
			}
		case k == 6:
			f.Data[0], f.Data[1], f.Data[2] = 0x10, byte(8+r.IntN(12)), 0x62
		case k < 9:
			f.Data[0] = byte(0x21 + r.IntN(2))
		default:
			f.Data, f.IsRemote = can.Data{}, true
		}
		pause := time.Duration(r.IntN(2000)) * time.Microsecond
		if r.IntN(500) == 0 {
			pause = time.Duration(r.IntN(12)) * time.Second
		}
		at = at.Add(pause)
		entries = append(entries, trace.Entry{At: at, Direction: bus.Direction(r.IntN(2)), Level: trace.Frame, ID: link.IDOf(f), Frames: []can.Frame{f}})
		if r.IntN(100) == 0 {
			entries = append(entries, trace.Entry{At: at, Level: trace.Trouble, Text: fmt.Sprintf("trouble number %d", i)})
		}
	}
	return writeRecording(t, entries)
}

// inOneGo tells a recording piece by piece, without a second goroutine, and explains every message anew.
func inOneGo(t *testing.T, c *framesCmd, f form) {
	only, err := c.only()
	if err != nil {
		t.Fatal(err)
	}
	var all []trace.Entry
	for e, err := range trace.ReadFile(c.File) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, e)
	}
	said := func(m *talk.Message) string {
		s := explain.MessageSummary(m.Address, m.Payload, explain.Options{})
		if !m.Whole {
			s += fmt.Sprintf(" Only %d of its %d bytes are there.", len(m.Payload), m.Want)
		}
		return s
	}
	about, on := talk.New(talk.Options{}), heard.New(heard.Options{})
	talked := map[link.ID]bool{}
	told := 0
	tell := func() {
		for i := range int(about.Settled() - about.First()) {
			x := about.Exchange(i)
			mine := only.IsZero()
			for _, m := range x.Messages {
				mine = mine || m.Address.Request == only || m.Address.Answer == only
				for _, fr := range m.Frames {
					talked[fr.ID] = true
				}
			}
			if mine {
				told++
				f.exchange(&x, said)
			}
		}
		about.Forget(about.Settled())
	}
	f.begin(c.File)
	for part := range slices.Chunk(all, trace.BatchSize) {
		on.Add(part)
		about.Add(part)
		tell()
	}
	about.End()
	tell()
	for i := range on.Len() {
		if r := on.Row(i); only.IsZero() && !talked[r.ID] {
			f.identifier(r, []signal.Value(nil))
		}
	}
	f.end(framesSummary{Frames: on.Frames(), Exchanges: told, Other: about.Other(), Unlisted: on.Unlisted(), LastedMs: millis(on.Lasted())})
}

// Reading, putting together and telling go on beside one another; what comes out is what comes out in one go.
func TestFramesInOrder(t *testing.T) {
	for seed := range uint64(3) {
		path := busyRecording(t, 6*trace.BatchSize+17, seed)
		for _, c := range []framesCmd{{File: path}, {File: path, Raw: true}, {File: path, Module: "7e8"}} {
			for _, json := range []bool{false, true} {
				var got, want strings.Builder
				if err := c.Run(&env{ctx: context.Background(), out: &got, err: &got, json: json}); err != nil {
					t.Fatal(err)
				}
				w := bufio.NewWriter(&want)
				if json {
					inOneGo(t, &c, &jsonForm{w: w, raw: c.Raw})
				} else {
					inOneGo(t, &c, &textForm{w: w, raw: c.Raw})
				}
				w.Flush()
				if strings.Count(got.String(), "\n") < 1000 {
					t.Fatalf("only %d bytes", got.Len())
				}
				if got.String() != want.String() {
					g, w := strings.Split(got.String(), "\n"), strings.Split(want.String(), "\n")
					for i := range min(len(g), len(w)) {
						if g[i] != w[i] {
							t.Fatalf("%+v, line %d:\n%s\nin one go\n%s", c, i+1, g[i], w[i])
						}
					}
					t.Fatalf("%+v: %d lines, in one go %d", c, len(g), len(w))
				}
			}
		}
	}
}

// A recording that is broken off is told as far as it was read.
func TestFramesStopped(t *testing.T) {
	path := busyRecording(t, 12*trace.BatchSize, 1)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out strings.Builder
	err := (&framesCmd{File: path}).Run(&env{ctx: ctx, out: &out, err: &out})
	if err != context.Canceled || !strings.Contains(out.String(), "4096 frames in ") {
		t.Errorf("%v, %q", err, out.String()[max(0, out.Len()-200):])
	}
}

package replay

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/bus/bustest"
	"readback/diag/link"
	"readback/diag/trace"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// record writes a script as a recording: a line a frame, with its time in milliseconds, an arrow and the frame.
func record(t testing.TB, script string) adapter.Place {
	t.Helper()
	var entries []trace.Entry
	for line := range strings.Lines(script) {
		f := strings.Fields(line)
		if len(f) == 0 {
			continue
		}
		ms, err := time.ParseDuration(f[0] + "ms")
		if err != nil {
			t.Fatal(err)
		}
		e := trace.Entry{At: noon.Add(ms), Direction: bus.In, Level: trace.Frame, Frames: []can.Frame{frame(t, f[2])}}
		if f[1] == ">" {
			e.Direction = bus.Out
		}
		entries = append(entries, e)
	}
	path := filepath.Join(t.TempDir(), "talk.pcapng")
	if err := trace.WriteFile(t.Context(), path, entries); err != nil {
		t.Fatal(err)
	}
	return adapter.Place(Scheme + ":" + path)
}

func frame(t testing.TB, text string) (f can.Frame) {
	t.Helper()
	if err := f.UnmarshalString(text); err != nil {
		t.Fatal(err)
	}
	return f
}

// walk opens a recording, sends frames at their times in milliseconds, and returns what comes within ten seconds with
// its time.
func walk(t *testing.T, p adapter.Place, sends string) (got []string) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		conn, err := adapter.Open(t.Context(), []adapter.Driver{Driver()}, p, adapter.Options{})
		if err != nil {
			t.Fatal(err)
		}
		c := conn.(*Connection)
		begun := time.Now()
		for line := range strings.Lines(sends) {
			f := strings.Fields(line)
			if len(f) == 0 {
				continue
			}
			after, err := time.ParseDuration(f[0] + "ms")
			if err != nil {
				t.Fatal(err)
			}
			time.AfterFunc(after, func() {
				if err := c.Bus().Send(context.Background(), frame(t, f[1])); err != nil {
					t.Error(err)
				}
			})
		}
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		for {
			r, err := c.Bus().Receive(ctx)
			if err != nil {
				break
			}
			got = append(got, fmt.Sprintf("%d %s", time.Since(begun).Milliseconds(), r.Frame))
		}
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return got
}

func check(t *testing.T, name, script, sends string, want ...string) {
	t.Helper()
	if got := walk(t, record(t, script), sends); !slices.Equal(got, want) {
		t.Errorf("%s:\n%s\nwant\n%s", name, strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// The frames are laid out by hand after ISO 15765-2 and ISO 14229-1.
func TestPlay(t *testing.T) {
	const one = `
		0   > 7E0#0322F190AAAAAAAA
		12  < 7E8#037F2278
		500 < 7E8#037F2231`
	check(t, "an answer with its delays", one, "100 7E0#0322F190AAAAAAAA", "112 7E8#037F2278", "600 7E8#037F2231")
	check(t, "filling does not matter", one, "0 7E0#0322F19055555555", "12 7E8#037F2278", "500 7E8#037F2231")
	check(t, "what was not asked meets silence", one, "0 7E0#0322F18C\n1 7E1#0322F190\n2 000007E0#0322F190")
	check(t, "a later answer to the same question, and the last one again", `
		0   > 7E0#0319020A
		10  < 7E8#0359020A
		100 > 7E0#0319020A
		105 < 7E8#037F1922`, "0 7E0#0319020A\n1000 7E0#0319020A\n2000 7E0#0319020A", "10 7E8#0359020A", "1005 7E8#037F1922", "2005 7E8#037F1922")
	const long = `
		0   > 7E0#0322F190
		10  < 7E8#101462F190303132
		11  > 7E0#300000
		13  < 7E8#2133343536373839
		15  < 7E8#2230313233343536`
	check(t, "a long answer waits for flow control", long, "0 7E0#0322F190\n50 7E0#300000",
		"10 7E8#101462F190303132", "52 7E8#2133343536373839", "54 7E8#2230313233343536")
	check(t, "and ends without it", long, "0 7E0#0322F190\n50 7E0#320000", "10 7E8#101462F190303132")
	check(t, "or waits longer", long, "0 7E0#0322F190\n50 7E0#310000\n80 7E0#300000",
		"10 7E8#101462F190303132", "82 7E8#2133343536373839", "84 7E8#2230313233343536")
	check(t, "all are asked, two answer", `
		0   > 7DF#0209028888888888
		10  < 7E8#1014490201303132
		12  < 7E9#037F0912
		13  > 7E0#300000
		15  < 7E8#2133343536373839`, "0 7DF#020902\n20 7E0#300000", "10 7E8#1014490201303132", "12 7E9#037F0912", "22 7E8#2133343536373839")
	check(t, "the running car speaks at its own pace", `
		0   < 100#01
		20  < 100#02
		30  > 7E0#023E00
		40  < 7E8#027E00
		60  < 100#03`, "1 7E0#023E00", "0 100#01", "11 7E8#027E00", "20 100#02", "60 100#03")
	check(t, "pairs that no standard has", `
		0   > 744#023E00
		2   > 745#023E00
		4   < 7A4#027E00
		10  > 745#0322F190
		12  > 744#0322F190
		14  < 7A4#100962F190303132
		16  > 744#300000
		18  < 7A4#21333435`, "0 744#0322F190\n100 744#300000\n200 745#0322F190", "2 7A4#100962F190303132", "102 7A4#21333435")
}

func TestFast(t *testing.T) {
	p := record(t, `
		0    > 7E0#0414FFFFFF
		20   < 7E8#037F1478
		4000 < 7E8#0154`)
	_, path, _ := p.Split()
	got := walk(t, adapter.Place(SchemeFast+":"+path), "5 7E0#0414FFFFFF")
	if want := []string{"5 7E8#037F1478", "5 7E8#0154"}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestOpen(t *testing.T) {
	dir := t.TempDir()
	text, empty := filepath.Join(dir, "text.pcapng"), filepath.Join(dir, "empty.pcapng")
	if err := os.WriteFile(text, []byte("7E0#023E00"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := trace.WriteFile(t.Context(), empty, nil); err != nil {
		t.Fatal(err)
	}
	var format *trace.FormatError
	for _, c := range []struct {
		path string
		is   func(error) bool
	}{
		{filepath.Join(dir, "none.pcapng"), func(err error) bool { return errors.Is(err, os.ErrNotExist) }},
		{text, func(err error) bool { return errors.As(err, &format) }},
		{empty, func(err error) bool { return errors.Is(err, ErrNothing) }},
	} {
		_, err := Driver().Open(t.Context(), adapter.Place(Scheme+":"+c.path), adapter.Options{})
		var oe *adapter.OpenError
		if !errors.As(err, &oe) || !c.is(err) {
			t.Errorf("%s: error %v", c.path, err)
		}
	}
	if found, err := Driver().Find(t.Context()); err != nil || len(found) != 0 {
		t.Errorf("found %v, %v", found, err)
	}
	c, err := Driver().Open(t.Context(), record(t, "0 < 7E8#027E00"), adapter.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if a := c.Abilities(); !a.Recording || !a.Practice || !a.Raw || !a.Exact || len(a.Limits) == 0 {
		t.Errorf("%+v", a)
	}
	for range 2 {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
}

// The bus of a connection keeps the contract of the seam, with the kit in the car's place.
func TestConform(t *testing.T) {
	bustest.Conform(t, func(t testing.TB) (under, peer bus.Bus) {
		others := make(chan bus.Bus)
		c := connect(func(_ context.Context, b bus.Bus) { others <- b })
		t.Cleanup(func() { c.Close() })
		return c.Bus(), <-others
	})
}

// many are n frames, and then an error of their own.
func many(n int, end error) iter.Seq2[trace.Entry, error] {
	return func(yield func(trace.Entry, error) bool) {
		one := []can.Frame{{ID: 0x123}}
		for i := range n {
			if !yield(trace.Entry{At: noon.Add(time.Duration(i)), Level: trace.Frame, Frames: one}, nil) {
				return
			}
		}
		if end != nil {
			yield(trace.Entry{}, end)
		}
	}
}

// TestMostFrames: a recording of the most frames is played; of a longer one no more than that is kept, and it is refused.
func TestMostFrames(t *testing.T) {
	end := errors.New("nobody reads so far")
	if all, err := load(t.Context(), "some.pcapng", many(MaxFrames, nil)); err != nil || len(all) != MaxFrames {
		t.Errorf("%d frames, %v", len(all), err)
	}
	_, err := load(t.Context(), "long.pcapng", many(MaxFrames+1, end))
	if err == nil || errors.Is(err, end) || !strings.Contains(err.Error(), "long.pcapng has more than 1000000 frames") {
		t.Errorf("one more: %v", err)
	}
	if _, err := load(t.Context(), "torn.pcapng", many(3, end)); !errors.Is(err, end) {
		t.Errorf("a damaged one: %v", err)
	}
}

// TestLoadEnds: reading a long recording ends with its context.
func TestLoadEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := load(ctx, "some.pcapng", many(MaxFrames+1, nil)); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// Whatever is recorded and asked, playing ends, and nothing is said that was not recorded.
func FuzzScript(f *testing.F) {
	f.Add([]byte("\x80\x03\x22\xF1\x90\x00\x00\x00\x00\x08\x10\x14\x62\xF1\x90\x30\x31\x32\x80\x30\x00\x00\x00\x00\x00\x00\x00"))
	ids := []uint32{0x7E0, 0x7E8, 0x7DF, 0x7E1, 0x7E9, 0x744, 0x7A4, 0x745, 0x7A5, 0x18DA10F1, 0x18DAF110, 0x18DB33F1, 0x100, 0x7A0, 0, 0x7FF}
	f.Fuzz(func(t *testing.T, text []byte) {
		var all []recorded
		in := 0
		for at := noon.UnixNano(); len(text) >= 9; text = text[9:] {
			fr := can.Frame{ID: ids[text[0]&15], Length: 8}
			fr.IsExtended = fr.ID > can.MaxID
			copy(fr.Data[:], text[1:])
			at += int64(text[0]>>4&7) * 50e6
			all = append(all, recorded{at: at, out: text[0]>>7 != 0, frame: fr})
			if text[0]>>7 == 0 {
				in++
			}
		}
		if len(all) == 0 {
			return
		}
		s := newScript(all)
		n := len(s.alone)
		for key, list := range s.reactions {
			for _, r := range list.all {
				for _, tr := range r.tracks {
					n += len(tr.steps)
					for _, st := range tr.steps {
						if st.after < 0 || link.IDOf(st.frame) != tr.answer {
							t.Fatalf("%v: %+v", key, st)
						}
					}
				}
			}
			for range len(list.all) + 2 {
				list.take()
			}
		}
		if n != in {
			t.Fatalf("%d frames of the car are played, %d were recorded", n, in)
		}
	})
}

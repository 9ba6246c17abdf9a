package talk

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/explain"
	"readback/diag/link"
	"readback/diag/trace"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// entries reads a script: a line a frame, with its time in milliseconds, an arrow for its direction, and the frame.
func entries(t testing.TB, script string) (out []trace.Entry) {
	t.Helper()
	for line := range strings.Lines(script) {
		f := strings.Fields(line)
		if len(f) == 0 {
			continue
		}
		var ms float64
		if _, err := fmt.Sscan(f[0], &ms); err != nil {
			t.Fatal(err)
		}
		e := trace.Entry{At: noon.Add(time.Duration(ms * float64(time.Millisecond))), Direction: bus.In, Level: trace.Frame}
		if f[1] == ">" {
			e.Direction = bus.Out
		}
		if f[1] == "!" {
			e.Level, e.Text = trace.Trouble, strings.Join(f[2:], " ")
			out = append(out, e)
			continue
		}
		var fr can.Frame
		if err := fr.UnmarshalString(f[2]); err != nil {
			t.Fatal(err)
		}
		e.ID, e.Frames, e.Data = link.IDOf(fr), []can.Frame{fr}, fr.Data[:fr.Length]
		out = append(out, e)
	}
	return out
}

// told is every row in a line: number, identifier, outcome, bytes of each message.
func told(t *Talk) (out []string) {
	for i := range t.Len() {
		x := t.Exchange(i)
		s := fmt.Sprintf("%d %s %s", x.Number, x.Address, x.Outcome)
		if x.Took != 0 {
			s += " " + Lasting(x.Took)
		}
		for _, m := range x.Messages {
			s += fmt.Sprintf(" %X", m.Payload)
			if len(m.Frames) > 1 {
				s += fmt.Sprintf("(%d)", len(m.Frames))
			}
		}
		out = append(out, s+x.Text)
	}
	return out
}

func check(t *testing.T, name, script string, want ...string) {
	t.Helper()
	all := entries(t, script)
	for _, step := range []int{1, 2, len(all)} { // however the entries come
		c := New(Options{})
		for i := 0; i < len(all); i += step {
			c.Add(all[i:min(i+step, len(all))])
		}
		c.End()
		if got := told(c); strings.Join(got, "\n") != strings.Join(want, "\n") {
			t.Errorf("%s, %d at a time:\n%s\nwant\n%s", name, step, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
}

// The frames are laid out by hand after ISO 15765-2; services, refusals and their codes are those of ISO 14229-1, the
// pairs of identifiers those of ISO 15765-4.
func TestExchanges(t *testing.T) {
	check(t, "question and answer", `
		0   > 7E0#0322F18C55555555
		4   < 123#01
		12  < 7E8#0462F18C41AAAAAA`,
		"1 7E0/7E8 answered 12 ms 22F18C 62F18C41")
	check(t, "a long answer with its flow control", `
		0   > 7E0#0322F19055555555
		10  < 7E8#100A62F190313233
		11  > 7E0#3000005555555555
		20  < 7E8#2134353637AAAAAA`,
		"1 7E0/7E8 answered 20 ms 22F190 62F19031323334353637(3)")
	check(t, "asks for time, then refuses", `
		0    > 7E0#0414FFFFFF555555
		20   < 7E8#037F1478AAAAAAAA
		4020 < 7E8#037F1478AAAAAAAA
		6000 < 7E8#037F1422AAAAAAAA`,
		"1 7E0/7E8 refused 6.0 s 14FFFFFF 7F1478 7F1478 7F1422")
	check(t, "silence, and the next question", `
		0    > 7E0#023E005555555555
		2000 > 7E0#023E005555555555
		2010 < 7E8#027E00AAAAAAAAAA`,
		"1 7E0/7E8 no answer 3E00", "2 7E0/7E8 answered 10 ms 3E00 7E00")
	check(t, "a question where answers come from is no answer", `
		0    > 7E0#0322F190
		10   < 7E8#0322F190`,
		"1 7E0/7E8 no answer 22F190", "2 7E0/7E8 unasked 22F190")
	check(t, "no answer asked for", `
		0    > 7E0#023E805555555555`,
		"1 7E0/7E8 not wanted 3E80")
	check(t, "one question to all, answers of two", `
		0    > 7DF#020902
		10   < 7E8#1014490201303132
		11   < 7E9#0349020055555555
		12   > 7E0#300000
		20   < 7E8#2133343536373839
		21   < 7E8#2233343536373839
		`,
		"1 7DF (all modules) answered 21 ms 0902 4902013031323334353637383933343536373839(4) 490200")
	check(t, "two modules at once", `
		0    > 7E0#0322F190
		1    > 7E1#0322F190
		2    < 7E9#0462F19031
		3    < 7E8#0462F19032`,
		"1 7E0/7E8 answered 3.0 ms 22F190 62F19032", "2 7E1/7E9 answered 1.0 ms 22F190 62F19031")
	check(t, "29 bits", `
		0    > 18DA10F1#023E00
		2    < 18DAF110#027E00
		3    > 18DB33F1#020100
		4    < 18DAF110#064100FFFFFFFF`,
		"1 18DA10F1/18DAF110 answered 2.0 ms 3E00 7E00", "2 18DB33F1 (all modules) answered 1.0 ms 0100 4100FFFFFFFF")
	check(t, "a pair that has to be learnt", `
		0    > 745#021001
		3    > 746#021001
		5    < 765#065001003201F4
		9    > 745#0322F190
		12   < 765#0462F19031`,
		"1 745/765 answered 5.0 ms 1001 5001003201F4", "2 746 no answer 1001", "3 745/765 answered 3.0 ms 22F190 62F19031")
	check(t, "an answer at an identifier that was asked in vain", `
		0    > 768#023E00
		900  > 760#0322F190
		905  < 768#0462F19031`,
		"1 768 no answer 3E00", "2 760/768 answered 5.0 ms 22F190 62F19031")
	check(t, "an answer that nobody asked for", `
		0    < 7E8#0462F19031`,
		"1 7E0/7E8 unasked 62F19031")
	check(t, "an answer to another question", `
		0    > 7E0#0322F190
		5    < 7E8#0462F18C31`,
		"1 7E0/7E8 no answer 22F190", "2 7E0/7E8 unasked 62F18C31")
	check(t, "a page is missing", `
		0    > 7E0#0322F190
		10   < 7E8#101462F190303132
		11   > 7E0#300000
		20   < 7E8#2234353637383930`,
		"1 7E0/7E8 torn 22F190 62F190303132(3)")
	check(t, "a new answer ends one that is not whole", `
		0    > 7E0#0322F190
		10   < 7E8#101462F190303132
		11   > 7E0#300000
		20   < 7E8#2133343536373839
		30   < 7E8#037F2231`,
		"1 7E0/7E8 refused 30 ms 22F190 62F19030313233343536373839(3) 7F2231")
	check(t, "a long question", `
		0    > 7E0#100B2EF190303132
		1    < 7E8#300000
		2    > 7E0#2133343536373839
		9    < 7E8#036EF190`,
		"1 7E0/7E8 answered 7.0 ms 2EF1903031323334353637(3) 6EF190")
	check(t, "a trouble between them", `
		0    > 7E0#0322F190
		10   ! nobody on the bus acknowledged a frame
		15   < 7E8#037F2231`,
		"1 7E0/7E8 refused 15 ms 22F190 7F2231", "2 000 troublenobody on the bus acknowledged a frame")
}

// Nothing is made of what is no conversation.
func TestOther(t *testing.T) {
	c := New(Options{})
	c.Add(entries(t, `
		0 < 100#0322F190
		1 < 7A0#027E00
		2 < 7E8#3000
		3 < 7E8#21303132
		4 < 7E8#00
		5 < 7E8#
		6 < 7E8#F0
		7 < 18FEF100#0102030405060708
		8 < 7E8#R8
		9 < 7E8#1003010203040506`))
	if c.Len() != 0 || c.Other() != 10 {
		t.Errorf("%d rows, %d others: %v", c.Len(), c.Other(), told(c))
	}
}

func modules() explain.Options {
	return explain.Options{Modules: []explain.Module{
		{Name: "Drive", Address: link.Physical(link.ID11(0x7E0), link.ID11(0x7E8))},
		{Name: "Door", Address: link.Address{Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x640), Target: 0x40, Source: 0xF1}},
		{Name: "Seat", Address: link.Address{Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x641), Target: 0x41, Source: 0xF1}},
	}}
}

// Extended addressing (ISO 15765-2, 10.3.4): the first data byte tells modules on one identifier apart.
func TestExtended(t *testing.T) {
	c := New(Options{Explain: modules()})
	c.Add(entries(t, `
		0  > 6F1#400322F190
		1  > 6F1#410322F190
		5  < 641#F10462F19041
		6  < 640#F1100962F1903031
		7  > 6F1#40300000
		9  < 640#F12132333435`))
	want := "1 Door answered 9.0 ms\n2 Seat answered 4.0 ms"
	var got []string
	for i := range c.Len() {
		r := c.Row(i)
		got = append(got, fmt.Sprintf("%d %s %s %s", r.Number, r.Module, r.Outcome, Lasting(r.Took)))
	}
	if strings.Join(got, "\n") != want {
		t.Errorf("%v", got)
	}
	if x := c.Exchange(0); len(x.Messages) != 2 || fmt.Sprintf("%X", x.Messages[1].Payload) != "62F190303132333435" {
		t.Errorf("%+v", x)
	}
}

// An older line has no frames: its messages stand for themselves. Messages of CAN only teach the pairs.
func TestMessages(t *testing.T) {
	a := link.AtHeader(0x10)
	odd := link.Physical(link.ID11(0x750), link.ID11(0x7B0))
	c := New(Options{})
	c.Add([]trace.Entry{
		{At: noon, Direction: bus.Out, Level: trace.Message, Address: a, ID: a.Request, Data: []byte{0x18, 0, 0xFF, 0}},
		{At: noon.Add(30 * time.Millisecond), Direction: bus.In, Level: trace.Message, Address: a, ID: a.Answer, Data: []byte{0x58, 0}},
		{At: noon.Add(40 * time.Millisecond), Direction: bus.In, Level: trace.Message, Address: odd, ID: odd.Answer, Data: []byte{0x7E, 0}},
	})
	c.Add(entries(t, `
		50 > 750#023E00
		55 < 7B0#027E00`))
	if got := strings.Join(told(c), "\n"); got != "1 18DA10F1/18DAF110 answered 30 ms 1800FF00 5800\n2 750/7B0 answered 5.0 ms 3E00 7E00" {
		t.Error(got)
	}
}

// While the recording goes on, an answer may still come; a row that is settled stays as it is.
func TestWaiting(t *testing.T) {
	c := New(Options{})
	c.Add(entries(t, "0 > 7E0#0322F190"))
	if r := c.Row(0); r.Outcome != Waiting || r.Words() != "no answer yet" || c.Settled() != 1 {
		t.Errorf("%+v", r)
	}
	c.Add(entries(t, "900 < 100#01"))
	if r := c.Row(0); r.Outcome != Waiting {
		t.Errorf("%+v", r)
	}
	c.Add(entries(t, "1100 < 100#01"))
	if r := c.Row(0); r.Outcome != Silent || c.Settled() != 1 {
		t.Errorf("%+v", r)
	}
	c.Add(entries(t, "11000 < 100#01"))
	if c.Settled() != 2 {
		t.Error("not settled")
	}
	c.Add(entries(t, "11001 < 7E8#0462F19031"))
	if r := c.Row(0); r.Outcome != Silent || c.Len() != 2 {
		t.Errorf("a settled row has changed: %+v", r)
	}
}

func TestWords(t *testing.T) {
	for _, c := range []struct {
		r    Row
		want string
	}{
		{Row{Outcome: Answered, Answers: 1, Took: 12 * time.Millisecond}, "answered after 12 ms"},
		{Row{Outcome: Answered, Answers: 3, Took: 2500 * time.Microsecond}, "answered 3 times, the first after 2.5 ms"},
		{Row{Outcome: Refused, Answers: 1, Took: 6 * time.Second, Waits: 2}, "refused after 6.0 s; it asked for time 2 times"},
		{Row{Outcome: Silent, Waits: 1}, "no answer; it asked for time once"},
		{Row{Outcome: NotWanted}, "no answer asked for"},
		{Row{Outcome: Answered, Answers: 1, Took: 40 * time.Microsecond}, "answered after 40 µs"},
	} {
		if got := c.r.Words(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// What is taken out of a conversation is what stood in it, piece by piece.
func TestTake(t *testing.T) {
	all := busy(60_000)
	a, b := New(Options{Explain: modules()}), New(Options{Explain: modules()})
	var p Taken
	rows := 0
	check := func() {
		for b.Take(&p) {
			for i := range p.Exchanges {
				want := a.Exchange(i)
				if p.Bare {
					want.Asked, want.Said = explain.Brief{}, explain.Brief{}
				}
				if !reflect.DeepEqual(p.Exchanges[i], want) {
					t.Fatalf("row %d is\n%+v, want\n%+v", rows+i, p.Exchanges[i], want)
				}
			}
			rows += len(p.Exchanges)
			a.Forget(a.First() + uint32(len(p.Exchanges)))
		}
		if a.Len() != b.Len() || b.Settled() != b.First() {
			t.Fatalf("%d rows are left of %d", b.Len(), a.Len())
		}
	}
	for part := range slices.Chunk(all, 777) {
		p.Bare = !p.Bare
		a.Add(part)
		b.Add(part)
		check()
	}
	a.End()
	b.End()
	check()
	if b.Len() != 0 || rows < 10_000 {
		t.Errorf("%d rows taken, %d left", rows, b.Len())
	}
}

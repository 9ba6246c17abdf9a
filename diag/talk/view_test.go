package talk

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"readback/diag/explain"
	"readback/diag/trace"
)

const some = `
	0    > 7E0#0322F190
	10   < 7E8#101462F190303132
	11   > 7E0#300000
	20   < 7E8#2133343536373839
	21   < 7E8#2241424344454647
	30   > 7E1#0414FFFFFF
	40   < 7E9#037F1422
	50   > 7DF#0101
	55   < 7E9#0641010007E500
	70   > 7E2#023E00
	80   ! the adapter has gone
`

func numbers(v *View) (out []uint32) {
	for i := range v.Len() {
		out = append(out, v.Row(i).Number)
	}
	return out
}

// other is another language.
func other(english string) string {
	return strings.NewReplacer("Drive", "Antrieb", "answered", "beantwortet", "the adapter has gone", "Über alles").Replace(english)
}

func TestView(t *testing.T) {
	all := entries(t, some)
	whole := New(Options{Explain: modules()})
	whole.Add(all)
	whole.End()
	for _, c := range []struct {
		f    Filter
		want []uint32
	}{
		{Filter{}, []uint32{1, 2, 3, 4, 5}},
		{Filter{Text: "  "}, []uint32{1, 2, 3, 4, 5}},
		{Filter{Outcomes: []Outcome{Refused, Trouble}}, []uint32{2, 5}},
		{Filter{Class: explain.Change}, []uint32{2}},
		{Filter{Text: "drive"}, []uint32{1}},
		{Filter{Text: "7e9"}, []uint32{2, 3}},
		{Filter{Text: "14 FF ff"}, []uint32{2}},
		{Filter{Text: "38394142"}, []uint32{1}}, // over the border of two frames
		{Filter{Text: "ADAPTER"}, []uint32{5}},
		{Filter{Text: "refused"}, []uint32{2}},
		{Filter{Text: "nothing of the kind"}, nil},
		{Filter{Text: "7E9", Outcomes: []Outcome{Answered}}, []uint32{3}},
		{Filter{Text: "No answer"}, []uint32{4}},
		{Filter{Text: "ANSWERED after"}, []uint32{1, 3}},
		{Filter{Text: "after 10 ms"}, nil}, // times are not looked at
		{Filter{Text: "a change", ChangeMark: "A change"}, []uint32{2}},
		{Filter{Text: "drive", Tell: other}, nil},
		{Filter{Text: "antrieb", Tell: other}, []uint32{1}},
		{Filter{Text: "beantwortet", Tell: other}, []uint32{1, 3}},
		{Filter{Text: "ÜBER alles", Tell: other}, []uint32{5}},
		{Filter{Text: "7e9", Tell: other}, []uint32{2, 3}},
	} {
		if got := numbers(whole.View(c.f)); !slices.Equal(got, c.want) {
			t.Errorf("%q: %v, want %v", c.f.Text, got, c.want)
		}
		// A view that has grown with the recording shows the same.
		grown := New(Options{Explain: modules()})
		v := grown.View(c.f)
		for i := range all {
			grown.Add(all[i : i+1])
			v.Update()
		}
		grown.End()
		v.Update()
		if got := numbers(v); !slices.Equal(got, c.want) {
			t.Errorf("%q, grown: %v, want %v", c.f.Text, got, c.want)
		}
	}
	names := map[string]int{}
	for _, th := range whole.Threads() {
		names[th.Address.String()] = th.Number
	}
	for address, want := range map[string][]uint32{"7E0/7E8": {1}, "7E1/7E9": {2, 3}, "7DF (all modules)": {3}, "7E2/7EA": {4}} {
		if got := numbers(whole.View(Filter{Thread: names[address]})); !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", address, got, want)
		}
	}
	v := whole.View(Filter{Outcomes: []Outcome{Refused, Trouble}})
	if v.Find(2) != 0 || v.Find(3) != 1 || v.Find(9) != 2 || v.Exchange(1).Text != "the adapter has gone" {
		t.Error("rows are not found by their number")
	}
}

// many is a recording of n rows at 7E0, one every millisecond.
func many(t testing.TB, n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%d > 7E0#0322F19055555555\n%d.5 < 7E8#0562F190%04XAAAA\n", i, i, i&0xFFFF)
	}
	return b.String()
}

// The oldest rows are forgotten, those that are left keep their numbers, and views follow.
func TestLimit(t *testing.T) {
	const limit = 20_000
	all := entries(t, many(t, 30_000))
	c := New(Options{Limit: limit})
	v := c.View(Filter{Text: "0562F1"}) // never there: the length byte is no part of a message
	w := c.View(Filter{Text: "22F190"})
	for len(all) > 0 {
		n := min(777, len(all))
		c.Add(all[:n])
		all = all[n:]
		if c.frames.len() > limit {
			t.Fatalf("%d frames kept", c.frames.len())
		}
		v.Update()
		w.Update()
		if v.Len() != 0 || w.Len() != c.Len() {
			t.Fatalf("%d and %d rows chosen of %d", v.Len(), w.Len(), c.Len())
		}
	}
	if c.Len()+c.Lost() != 30_000 || int(c.First()) != c.Lost()+1 {
		t.Errorf("%d rows kept, %d lost, the first is %d", c.Len(), c.Lost(), c.First())
	}
	last := c.Exchange(c.Len() - 1)
	if want := fmt.Sprintf("62F190%04X", 29_999); fmt.Sprintf("%X", last.Messages[1].Payload[:5]) != want || last.Number != 30_000 {
		t.Errorf("%+v", last)
	}
	c.Forget(1 << 30)
	w.Update()
	if c.Len() != 0 || w.Len() != 0 || c.frames.len() != 0 {
		t.Error("something is left")
	}
	c.Add(entries(t, "40000 > 7E0#0322F190\n40001 < 7E8#037F2231"))
	if c.Len() != 1 || c.Row(0).Outcome != Refused {
		t.Errorf("%v", told(c))
	}
}

// A recording without times, or of very long answers, settles too: by the number of rows and of frames behind.
func TestSettlesByNumber(t *testing.T) {
	question := entries(t, "0 > 7E0#0322F190")
	answer := entries(t, "0 < 7E8#1FFF62F190303132") // 4,095 bytes: 585 pages follow
	for i := range 585 {
		answer = append(answer, entries(t, fmt.Sprintf("0 < 7E8#%02X30313233343536", 0x20|(i+1)%16))...)
	}
	for _, c := range []struct {
		name string
		each []trace.Entry
		n    int
	}{{"rows", question, settleRows + 100}, {"frames", slices.Concat(question, answer), settleFrames/587 + 10}} {
		x := New(Options{})
		for range c.n {
			x.Add(c.each)
		}
		if x.Settled() < 2 || x.Settled() > 110 || x.Len() != c.n || x.Row(0).Frames != len(c.each) {
			t.Errorf("%s: settled up to %d of %d rows, the first has %d frames", c.name, x.Settled(), x.Len(), x.Row(0).Frames)
		}
	}
}

// A message in progress whose beginning is forgotten takes no further frames.
func TestForgetInProgress(t *testing.T) {
	c := New(Options{})
	all := entries(t, some)
	c.Add(all[:4])
	c.Forget(c.First() + 1)
	c.Add(all[4:])
	if c.Len() != 4 || c.Row(0).Refusal != 0x22 {
		t.Errorf("%v", told(c))
	}
}

// To show a row allocates nothing.
func TestRowAllocatesNothing(t *testing.T) {
	c := New(Options{Explain: modules()})
	c.Add(entries(t, strings.ReplaceAll(some, "7DF#0101", "7DF#0902")))
	if n := testing.AllocsPerRun(100, func() {
		for i := range c.Len() {
			c.Row(i)
		}
	}); n != 0 {
		t.Errorf("%v allocations for %d rows", n, c.Len())
	}
}

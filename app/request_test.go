package app

import (
	"strings"
	"testing"

	"fyne.io/fyne/v2"

	"readback/diag/explain"
)

// TestPost: of a pasted text the requests are taken out; what was read stands beside what was typed, each request is
// named, and another one can be chosen.
func TestPost(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.writeReal(post)
	b.says("As you typed it", "Read as", "7E5 04 14 FF FF FF 55 55 55", "2 requests in this text", "shown here", "only reads", "a change", "Take one at a time")
	if b.w.req.sendable() {
		t.Error("a text with two requests can be sent")
	}
	second := b.w.req.explained.Steps[1].Text
	b.visit.explains[second] = readNumber()
	b.tap("step 1")
	if b.w.req.field.Text != second {
		t.Errorf("the field holds %q", b.w.req.field.Text)
	}
	b.saysNot("requests in this text")
}

// TestTypedPlain: a request typed as it is read is not shown twice.
func TestTypedPlain(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.writeReal(clearText)
	b.saysNot("As you typed it")
	b.writeReal("7e5#0414ffffff555555")
	b.says("As you typed it", "7E5 04 14 FF FF FF 55 55 55")
}

// TestFieldGrows: the field shows a pasted text of several lines, and Tab still leads out of it.
func TestFieldGrows(t *testing.T) {
	b := newBench(t, setup{})
	b.w.Show(PageRequest)
	low := b.w.req.field.MinSize().Height
	b.write("ATSH7E5\n04 14 FF FF FF\n55 55 55")
	three := b.w.req.field.MinSize().Height
	b.write(strings.Repeat("7E5 04 14 FF FF FF 55 55 55\n", 40))
	most := b.w.req.field.MinSize().Height
	if !(low < three && three < most && most < 12*low) {
		t.Errorf("the field is %v, %v and %v high", low, three, most)
	}
	b.win.Canvas().Focus(b.w.req.field)
	if b.w.req.field.AcceptsTab() {
		t.Error("the keyboard is caught in the field")
	}
	b.w.req.field.TypedKey(&fyne.KeyEvent{Name: fyne.KeyEnd})
}

// TestRequestIsTyped: what is typed on the page of an empty request goes into the request, and its hint is no request that
// somebody might take for their own.
func TestRequestIsTyped(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	b.w.Show(PageRequest)
	if b.win.Canvas().Focused() != b.w.req.field {
		t.Fatal("typing leads nowhere")
	}
	if e := explain.Explain(b.w.req.field.PlaceHolder, explain.Options{}); e.Frame != nil {
		t.Errorf("the hint is a request: %s", b.w.req.field.PlaceHolder)
	}
	for _, r := range clearText {
		b.w.req.field.TypedRune(r)
	}
	b.says("complete and well formed")
	b.w.Show(PageCodes)
	b.w.Show(PageRequest)
	if b.win.Canvas().Focused() == b.w.req.field {
		t.Error("a request that is written is in the way of the keys of the page")
	}
}

// TestReasonSaysMore: that a request only reads is said once, and the reason beside it says what that means.
func TestReasonSaysMore(t *testing.T) {
	for language, want := range map[string][2]string{"en": {"only reads", "stay in the car"}, "de": {"liest nur", "bleiben im Auto"}} {
		t.Run(language, func(t *testing.T) {
			b := newBench(t, setup{language: language})
			b.read()
			b.writeReal("7E5 03 19 02 FF 55 55 55 55")
			text := b.page()
			if n := strings.Count(text, want[0]); n != 1 {
				t.Errorf("%q stands there %d times: %s", want[0], n, text)
			}
			b.says(want[1])
		})
	}
}

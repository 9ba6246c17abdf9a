package app

import (
	"slices"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
)

// header begins every page: the sentence that says how things stand, and the line under it. On a practice car it
// says so.
func (w *Window) header(title, lead string) fyne.CanvasObject {
	var top fyne.CanvasObject = look.Title(title)
	if w.practice() {
		wide := look.Row(12, look.Growing(look.Title(title)).At(look.Top), look.Natural(look.Badge(T("practice"))).At(look.Top))
		top = look.Either(look.Scaled(300), wide, look.Stack(6, look.Wrap(0, look.Badge(T("practice"))), look.Title(title)))
	}
	if lead == "" {
		return top
	}
	return look.Stack(4, top, look.Lead(lead))
}

// margin is plain words under heads, and the source that they rest on. texts are pairs of a head and its words.
func (w *Window) margin(source string, texts ...string) fyne.CanvasObject {
	return w.sourced(source, heads(texts)...)
}

// heads are pairs of a head and its words; a pair without words is left out.
func heads(texts []string) []fyne.CanvasObject {
	var parts []fyne.CanvasObject
	for i := 0; i+1 < len(texts); i += 2 {
		if texts[i+1] != "" {
			parts = append(parts, look.Stack(4, look.Head(texts[i]), look.Body(texts[i+1])))
		}
	}
	return parts
}

// restsOn lets the margin of the page that is being built say what is known of a trouble rests on.
func (w *Window) restsOn(t diag.Trouble) {
	if s := told(t.RestsOn()); s != "" && !slices.Contains(w.rests, s) {
		w.rests = append(w.rests, s)
	}
}

// sourced puts the source under the parts of a margin.
func (w *Window) sourced(source string, parts ...fyne.CanvasObject) fyne.CanvasObject {
	if source != "" {
		parts = append(parts, look.Stack(8, look.Hair(), look.Fine(source)))
	}
	return look.Stack(18, parts...)
}

// empty is a page that waits for another step first: why it is empty, what will be on it, and the way there. Without a
// car there is always the practice car.
func (w *Window) empty(title, lead, goID, goText string, p Page) fyne.CanvasObject {
	return look.Stack(18, w.header(title, lead), w.promise(), look.Buttons(w.ways(look.NewButton(goID, goText, look.Main, func() { w.Show(p) }))...))
}

// motifs are the drawings for what will be on a page that is empty.
var motifs = map[Page]look.Motif{PageCar: look.MotifCar, PageCodes: look.MotifCar, PageGate: look.MotifRequest, PageReadBack: look.MotifRequest,
	PageLogbook: look.MotifCar, PageTalk: look.MotifRequest, PageHeard: look.MotifCable, PageLive: look.MotifCar}

// promise says what will be on a page that is empty.
func (w *Window) promise() fyne.CanvasObject {
	text := look.Stack(3, look.Head(T("empty.here")), look.Body(T("empty."+string(w.page))))
	return look.Rows(look.Pad(14, 16, 14, 14, look.Row(16, look.Natural(look.NewSketch(motifs[w.page], 72)).At(look.Top), look.Growing(text))))
}

// ways are the buttons of a page that is empty.
func (w *Window) ways(first ...fyne.CanvasObject) []fyne.CanvasObject {
	if w.link.visit == nil {
		first = append(first, look.NewButton("go-practice", T("empty.practice"), look.Quiet, func() { w.Show(PagePractice) }))
	}
	return first
}

// fact is a name and a value flush right.
func fact(name, value string) fyne.CanvasObject {
	return look.Row(10, look.Growing(look.Small(name)).At(look.Top),
		look.Natural(look.Styled(value, look.Style{Mono: true, Size: look.SizeSmall}).Right()).At(look.Top))
}

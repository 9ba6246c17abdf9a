package look

import (
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// waves adds readings of a value that goes up and down within 20 seconds.
func waves(c *Course, from time.Time, span, every time.Duration, middle, reach float64) {
	for d := time.Duration(0); d < span; d += every {
		c.Add(from.Add(d), middle+reach*math.Sin(2*math.Pi*d.Seconds()/20))
	}
}

// TestCourseKeepsSpikes: whatever is forgotten, the highest and the lowest reading within a stretch stay.
func TestCourseKeepsSpikes(t *testing.T) {
	var c Course
	if !c.Empty() || !c.Began().IsZero() || !c.Newest().IsZero() {
		t.Error("a course of nothing has readings")
	}
	const hours = 2
	for i := range hours * 36000 { // ten a second
		v := 50.0
		if i == 9000 {
			v = 99
		}
		c.Add(noon.Add(time.Duration(i)*100*time.Millisecond), v)
	}
	end := c.Newest()
	if got := end.Sub(noon); got < hours*time.Hour-time.Second || got > hours*time.Hour {
		t.Errorf("the newest is %v after the first", got)
	}
	if low, high, ok := c.Bounds(noon, end); !ok || low != 50 || high != 99 {
		t.Errorf("%v to %v, %v", low, high, ok)
	}
	if low, high, ok := c.Bounds(end.Add(-time.Minute), end); !ok || low != 50 || high != 50 {
		t.Errorf("in the last minute %v to %v, %v", low, high, ok)
	}
	if _, high, ok := c.Told(noon.Add(900 * time.Second)); !ok || high != 99 {
		t.Errorf("at the spike %v, %v", high, ok)
	}
	if b := c.Began(); b.After(noon) || noon.Sub(b) > time.Minute {
		t.Errorf("it begins at %v", b)
	}
}

// TestCourseGaps: what was not told is no value.
func TestCourseGaps(t *testing.T) {
	var c Course
	told := func(d time.Duration) string {
		low, high, ok := c.Told(noon.Add(d))
		if !ok {
			return "nothing"
		}
		return fmt.Sprint(low, " ", high)
	}
	c.Add(noon, 1)
	c.Add(noon.Add(time.Second), 2)
	c.Break()
	c.Add(noon.Add(3*time.Second), 5)
	c.Add(noon.Add(3*time.Second+time.Millisecond), 4) // within the same stretch
	for d, want := range map[time.Duration]string{-time.Second: "nothing", 0: "1 1", 500 * time.Millisecond: "1 1", time.Second: "2 2",
		2 * time.Second: "nothing", 3 * time.Second: "4 5", 5 * time.Second: "4 4", time.Minute: "nothing"} {
		if got := told(d); got != want {
			t.Errorf("after %v: %s, want %s", d, got, want)
		}
	}
	c.Add(noon.Add(4*time.Second), math.NaN())
	if got := told(5 * time.Second); got != "nothing" {
		t.Errorf("after a reading that is no number: %s", got)
	}
	c.Add(noon, 7) // an older time counts as the newest
	if got := told(3 * time.Second); got != "4 7" {
		t.Errorf("after one that is late: %s", got)
	}
}

// TestCourseIsBounded: once its room is there, hours of readings at full rate need no more.
func TestCourseIsBounded(t *testing.T) {
	var c Course
	at := noon
	add := func(n int) {
		for i := range n {
			at = at.Add(4 * time.Millisecond) // 250 a second
			c.Add(at, float64(i%100))
		}
	}
	add(14 * 3600 * 250) // until the coarsest level is full
	for i := range c.levels {
		if got := cap(c.levels[i].held); got != courseHeld {
			t.Errorf("level %d has room for %d", i, got)
		}
	}
	if n := testing.AllocsPerRun(1, func() { add(3600 * 250) }); n != 0 {
		t.Errorf("another hour takes %v pieces of memory", n)
	}
}

func TestScale(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		digits    int
		most      int
		want      string
	}{
		{790, 2310, 0, 5, "500 2500 500"}, {12.6, 12.7, 1, 4, "12.4 13.0 0.2"}, {-40, 90, 0, 5, "-50 100 50"}, {5, 5, 0, 4, "2 8 2"}, {0, 0, 2, 4, "0.00 0.04 0.02"},
		{0.1, 0.9, 3, 6, "0.0 1.0 0.2"}, {123456, 123999, 0, 4, "123400 124000 200"},
	} {
		s := fit(scale{}, c.low, c.high, c.digits, c.most)
		if got := fmt.Sprint(s.label(s.low), " ", s.label(s.high), " ", s.label(s.step)); got != c.want {
			t.Errorf("%v to %v: %s, want %s", c.low, c.high, got, c.want)
		}
		if s.low > c.low || s.high < c.high {
			t.Errorf("%v to %v do not fit into %+v", c.low, c.high, s)
		}
		if again := fit(s, c.low, c.high, c.digits, c.most); again != s {
			t.Errorf("%+v becomes %+v without a reason", s, again)
		}
	}
	if s := fit(scale{0, 1000, 200}, 0, 100, 0, 6); s.high > 200 {
		t.Errorf("a scale that is far too large stays: %+v", s)
	}
}

func TestTimeSteps(t *testing.T) {
	for _, c := range []struct {
		span time.Duration
		most int
		want time.Duration
	}{{30 * time.Second, 6, 5 * time.Second}, {time.Hour, 6, 10 * time.Minute}, {2 * time.Hour, 1, time.Hour}, {5 * time.Second, 0, 5 * time.Second}} {
		if got := timeStep(c.span, c.most); got != c.want {
			t.Errorf("%v in %d: %v, want %v", c.span, c.most, got, c.want)
		}
	}
}

// filled is a plot of several units in a window.
func filled(t testing.TB, span time.Duration) *Plot {
	t.Helper()
	if fyne.CurrentApp() == nil {
		test.NewTempApp(t)
	}
	fyne.CurrentApp().Settings().SetTheme(&Theme{Shade: ShadeLight, Factor: 1})
	p := NewPlot("plot", "number", func(s string) string { return s }, func() {})
	var strokes []Stroke
	for i, u := range []string{"1/min", "1/min", "km/h", "°C"} {
		c := &Course{}
		waves(c, noon, span, 50*time.Millisecond, 100*float64(i+1), 20*float64(i+1))
		strokes = append(strokes, Stroke{Course: c, Style: i, Unit: u})
	}
	win := test.NewTempWindow(t, p)
	win.SetPadded(false)
	win.Resize(fyne.NewSize(700, 420))
	p.Fill(strokes, 300)
	p.Now(noon.Add(span))
	return p
}

func keys(p *Plot, names ...fyne.KeyName) {
	for _, n := range names {
		p.TypedKey(&fyne.KeyEvent{Name: n})
	}
}

// TestPlotByKeyboard: all that the pointer can do can be done by keys.
func TestPlotByKeyboard(t *testing.T) {
	test.NewTempApp(t)
	p := filled(t, 5*time.Minute)
	told := 0
	p.told = func() { told++ }
	if p.Span() != 30*time.Second || len(p.lanes) != 3 {
		t.Fatalf("%v, %d lanes", p.Span(), len(p.lanes))
	}
	p.TypedRune('-')
	p.TypedRune('-')
	p.TypedRune('+')
	if p.Span() != time.Minute {
		t.Errorf("zoomed to %v", p.Span())
	}
	keys(p, fyne.KeyPageUp)
	if at, held := p.Held(); !held || !at.Equal(noon.Add(5*time.Minute-48*time.Second)) {
		t.Errorf("page up: %v %v", at, held)
	}
	keys(p, fyne.KeyHome)
	if from, _ := p.shown(); from.After(noon.Add(time.Second)) {
		t.Errorf("home begins at %v", from)
	}
	keys(p, fyne.KeyPageUp, fyne.KeyPageUp)
	if _, to := p.shown(); to.Before(noon.Add(20 * time.Second)) {
		t.Errorf("there is only emptiness before %v", to)
	}
	keys(p, fyne.KeyEnd)
	if _, held := p.Held(); held {
		t.Error("end does not follow the newest")
	}
	keys(p, fyne.KeyLeft, fyne.KeyLeft, fyne.KeyRight)
	if got := p.Pointed(); !got.Equal(noon.Add(5*time.Minute - time.Second)) {
		t.Errorf("the line is at %v", got)
	}
	keys(p, fyne.KeyEscape)
	if !p.Pointed().IsZero() {
		t.Error("escape leaves the line")
	}
	keys(p, fyne.KeySpace)
	if at, held := p.Held(); !held || !at.Equal(noon.Add(5*time.Minute)) {
		t.Errorf("space: %v %v", at, held)
	}
	p.Now(noon.Add(6 * time.Minute))
	if _, to := p.shown(); !to.Equal(noon.Add(5 * time.Minute)) {
		t.Errorf("held, it shows %v", to)
	}
	if told < 10 {
		t.Errorf("told %d times", told)
	}
}

// TestPlotByPointer: the pointer points, the wheel zooms around the line, dragging moves.
func TestPlotByPointer(t *testing.T) {
	test.NewTempApp(t)
	p := filled(t, 5*time.Minute)
	at := func(x float32) *desktop.MouseEvent {
		return &desktop.MouseEvent{PointEvent: fyne.PointEvent{Position: fyne.NewPos(x, 100)}}
	}
	middle := p.gutter() + (p.Size().Width-p.gutter()-plotEnd)/2
	p.MouseIn(at(0))
	if from, _ := p.shown(); !p.Pointed().Equal(from) {
		t.Errorf("left of the axis it points at %v", p.Pointed())
	}
	p.MouseMoved(at(middle))
	was := p.Pointed()
	if !was.Equal(noon.Add(5*time.Minute - 15*time.Second)) {
		t.Errorf("the middle is %v", was)
	}
	p.Hold(true)
	p.Scrolled(&fyne.ScrollEvent{Scrolled: fyne.NewDelta(0, 10)})
	if p.Span() != 20*time.Second || p.placeOf(was) < middle-1 || p.placeOf(was) > middle+1 {
		t.Errorf("zoomed to %v, the line from %v to %v", p.Span(), middle, p.placeOf(was))
	}
	p.Dragged(&fyne.DragEvent{Dragged: fyne.NewDelta(p.Size().Width-p.gutter(), 0)})
	if _, to := p.shown(); !to.Equal(noon.Add(5*time.Minute - 25*time.Second)) { // 5 s before by the zoom, 20 s by the drag
		t.Errorf("dragged to %v", to)
	}
	p.MouseOut()
	if !p.Pointed().IsZero() {
		t.Error("the line stays when the pointer has gone")
	}
}

// shot draws a plot as the painter does.
func shot(p *Plot) *image.RGBA {
	p.Refresh()
	w, h := int(p.Size().Width-p.gutter()-plotEnd), int(p.Size().Height-Scaled(plotFoot)-p.pictureTop())
	return p.draw(w, h).(*image.RGBA)
}

// inked counts the pixels of a colour in each column.
func inked(img *image.RGBA, n fyne.ThemeColorName) []int {
	want := solid(n)
	out := make([]int, img.Rect.Dx())
	for x := range out {
		for y := range img.Rect.Dy() {
			if c := img.RGBAAt(x, y); c.R == want.R && c.G == want.G && c.B == want.B {
				out[x]++
			}
		}
	}
	return out
}

// TestPlotDraws: a line is there from its first reading on, has a gap where nothing was told, and no spike is lost, not
// even in the gap of a pattern.
func TestPlotDraws(t *testing.T) {
	test.NewTempApp(t)
	p := filled(t, time.Second)
	c := &Course{}
	for i := range 200 { // the last 20 of 30 seconds
		if i == 100 {
			c.Break()
			continue
		}
		if i > 100 && i < 130 {
			continue
		}
		v := 10.0
		if i == 170 {
			v = 100
		}
		c.Add(noon.Add(time.Duration(i)*100*time.Millisecond), v)
	}
	for style := range CourseStyles {
		p.Fill([]Stroke{{Course: c, Style: style, Unit: "V"}}, 300)
		p.Now(noon.Add(20 * time.Second))
		img := shot(p)
		if style == 0 {
			p.keep(t, img)
		}
		columns := inked(img, CourseColours[style])
		second := float64(len(columns)) / 30
		part := func(from, to float64) []int { return columns[int((from+10)*second):int((to+10)*second)] }
		if n := slices.Max(part(-10, -0.5)); n > 0 {
			t.Errorf("style %d: something is drawn before the first reading", style)
		}
		if n := slices.Max(part(0, 9.8)); n == 0 {
			t.Errorf("style %d: nothing is drawn", style)
		}
		if n := slices.Max(part(10.4, 12.6)); n > 0 {
			t.Errorf("style %d: something is drawn where nothing was told", style)
		}
		if n := slices.Max(part(16.8, 17.2)); n < 100 {
			t.Errorf("style %d: the spike is %d high", style, n)
		}
	}
}

// keep writes a picture into the folder that READBACK_PICTURES names.
func (p *Plot) keep(t *testing.T, img image.Image) {
	dir := os.Getenv("READBACK_PICTURES")
	if dir == "" {
		return
	}
	f, err := os.Create(filepath.Join(dir, "plot.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := png.Encode(f, img); err != nil {
		t.Fatal(err)
	}
}

// TestPlotTakesNoMemory: a picture that is drawn again needs no memory of its own, and no more texts than it has labels.
func TestPlotTakesNoMemory(t *testing.T) {
	test.NewTempApp(t)
	p := filled(t, time.Minute)
	shot(p)
	w, h := p.pen.img.Rect.Dx(), p.pen.img.Rect.Dy()
	if n := testing.AllocsPerRun(20, func() { p.draw(w, h) }); n > 60 {
		t.Errorf("a picture takes %v pieces of memory", n)
	}
	r := test.WidgetRenderer(p).(*plotRenderer)
	for i := range 600 {
		p.Now(noon.Add(time.Minute + time.Duration(i)*100*time.Millisecond))
	}
	if n := len(r.labels); n > 40 {
		t.Errorf("there are %d texts", n)
	}
}

// BenchmarkPlotHour draws eight values of an hour, 50 readings a second each.
func BenchmarkPlotHour(b *testing.B) {
	test.NewTempApp(b)
	p := filled(b, time.Second)
	var strokes []Stroke
	for i := range CourseStyles {
		c := &Course{}
		waves(c, noon, time.Hour, 20*time.Millisecond, 100, 20*float64(i+1))
		strokes = append(strokes, Stroke{Course: c, Style: i, Unit: []string{"V", "°C"}[i%2]})
	}
	p.Fill(strokes, 300)
	p.Now(noon.Add(time.Hour))
	for _, span := range []time.Duration{10 * time.Second, time.Minute, time.Hour} {
		b.Run(span.String(), func(b *testing.B) {
			p.span = slices.Index(Spans, span)
			p.Refresh()
			b.ReportAllocs()
			for b.Loop() {
				p.place(p.Size().Height)
				p.draw(626, 380)
			}
		})
	}
}

// BenchmarkCourseAdd adds readings to a course that is full.
func BenchmarkCourseAdd(b *testing.B) {
	var c Course
	at := noon
	b.ReportAllocs()
	for b.Loop() {
		at = at.Add(4 * time.Millisecond)
		c.Add(at, 1)
	}
}

func TestFigure(t *testing.T) {
	newApp(t)
	f := NewFigure(Style{}).Right()
	win := test.NewTempWindow(t, f)
	win.Resize(fyne.NewSize(200, 40))
	f.Resize(fyne.NewSize(f.pitch()*6+0.5, 20))
	for text, want := range map[string]string{"": "", "850": "850", "1 min": "1min", "12345678": "12345…", "äöüÄÖÜ": "äöüÄÖÜ"} {
		f.Set(text)
		got := ""
		for _, l := range test.WidgetRenderer(f).(*figureRenderer).pieces {
			if l.Visible() {
				got += l.Text
				if l.Position().X+l.MinSize().Width > f.Size().Width+1 {
					t.Errorf("%q reaches beyond its room", text)
				}
			}
		}
		if got != want || f.String() != text {
			t.Errorf("%q shows %q", text, got)
		}
	}
}

// TestFigurePieces: every text that is painted is kept as a picture, so only what comes again is one: digits, signs and words.
func TestFigurePieces(t *testing.T) {
	newApp(t)
	f := NewFigure(Style{})
	win := test.NewTempWindow(t, f)
	win.Resize(fyne.NewSize(400, 40))
	f.Resize(fyne.NewSize(f.pitch()*20+0.5, 20))
	for text, want := range map[string][]string{
		"1500 1/min":    {"1", "5", "0", "0", "1", "/min"},
		"-40.5 °C":      {"-", "4", "0", ".", "5", "°C"},
		"14:02:39":      {"1", "4", ":", "0", "2", ":", "3", "9"},
		"not yet":       {"not", "yet"},
		"1,234 km/h":    {"1", ",", "2", "3", "4", "km/h"},
		"12 to 14 km/h": {"1", "2", "to", "1", "4", "km/h"},
	} {
		f.Set(text)
		var got []string
		for _, p := range test.WidgetRenderer(f).(*figureRenderer).pieces {
			if !p.Visible() {
				continue
			}
			got = append(got, p.Text)
			if at := strings.Index(text, p.Text); len(p.Text) > 1 && p.Position().X != snap(float32(len([]rune(text[:at])))*f.pitch()) {
				t.Errorf("%q: %q stands at %g", text, p.Text, p.Position().X)
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q is painted as %q, want %q", text, got, want)
		}
	}
}

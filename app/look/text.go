package look

import (
	"regexp"
	"strings"
	"unicode/utf8"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// Style is how a run of text is set. The zero value is body text in ink.
type Style struct {
	Size               fyne.ThemeSizeName
	Color              fyne.ThemeColorName
	Bold, Italic, Mono bool
	Strike             bool
}

// Run is text in one style.
type Run struct {
	Text string
	Style
}

// Text is a paragraph of runs that wraps at its width. A line break in a run begins a new line.
type Text struct {
	widget.BaseWidget
	runs   []Run
	oneRow bool
	right  bool

	made   [2]laidOut // what was laid out last, the newest first; a text is asked for two widths in turn
	widest float32    // its longest word, 0 while that is not known
}

// laidOut are the rows of a text at a width.
type laidOut struct {
	width float32
	lines []textLine // nil where there are none yet
}

type textLine struct {
	parts  []textPart
	width  float32
	height float32
}

type textPart struct {
	x, w float32
	Run
}

// NewText makes a paragraph.
func NewText(runs ...Run) *Text {
	t := &Text{runs: runs}
	t.ExtendBaseWidget(t)
	return t
}

// OneRow keeps the text in one row, whatever its width.
func (t *Text) OneRow() *Text { t.oneRow = true; return t }

// Right sets the rows flush right.
func (t *Text) Right() *Text { t.right = true; return t }

// String is the text without its styles.
func (t *Text) String() string {
	var b strings.Builder
	for _, r := range t.runs {
		b.WriteString(r.Text)
	}
	return b.String()
}

func styled(s string, st Style) *Text { return NewText(rich(s, st)...) }

// Title, Lead, Head, Body, Small and Fine set a text in one of the sizes of the program. **Stars** make a word bold, and
// codes and identifiers are set in the mono font by themselves.
func Title(s string) *Text { return styled(s, Style{Size: SizeTitle, Bold: true}) }
func Lead(s string) *Text  { return styled(s, Style{Color: Soft}) }
func Head(s string) *Text  { return styled(s, Style{Bold: true}) }
func Body(s string) *Text  { return styled(s, Style{}) }
func Small(s string) *Text { return styled(s, Style{Size: SizeSmall, Color: Soft}) }
func Fine(s string) *Text  { return styled(s, Style{Size: SizeFine, Color: Soft}) }

// AsIs sets a text that somebody else wrote: stars in it are stars, and no word is set in another font.
func AsIs(s string, st Style) *Text { return NewText(Run{s, st}) }

// Styled sets a text in any style, with the same marks as [Body].
func Styled(s string, st Style) *Text { return styled(s, st) }

// hexWord finds what is always set in mono: bytes in a row, trouble codes, and hex numbers that have both a digit and
// a letter.
var hexWord = regexp.MustCompile(`\b(?:[0-9A-F]{2}(?: [0-9A-F]{2})+|[PCBU][0-3][0-9A-F]{3}(?:-[0-9A-F]{2})?|[0-9][0-9A-F]*[A-F][0-9A-F]*|[A-F][A-F0-9]*[0-9][0-9A-F]*|FF(?:FF)*)\b`)

func rich(s string, st Style) []Run {
	var out []Run
	for i, part := range strings.Split(s, "**") {
		now := st
		if i%2 == 1 {
			now.Bold = true
		}
		out = append(out, monoWords(part, now)...)
	}
	return out
}

func monoWords(s string, st Style) []Run {
	if st.Mono {
		return []Run{{s, st}}
	}
	var out []Run
	at := 0
	for _, m := range hexWord.FindAllStringIndex(s, -1) {
		if m[0] > at {
			out = append(out, Run{s[at:m[0]], st})
		}
		code := st
		code.Mono = true
		out = append(out, Run{s[m[0]:m[1]], code})
		at = m[1]
	}
	if at < len(s) {
		out = append(out, Run{s[at:], st})
	}
	return out
}

func (s Style) size() float32 {
	if s.Size == "" {
		return theme.Size(SizeBody)
	}
	return theme.Size(s.Size)
}

func (s Style) text() fyne.TextStyle {
	return fyne.TextStyle{Bold: s.Bold, Italic: s.Italic, Monospace: s.Mono}
}

func (s Style) colour() fyne.ThemeColorName {
	if s.Color == "" {
		return Ink
	}
	return s.Color
}

func (s Style) measure(text string) float32 {
	size, _ := fyne.CurrentApp().Driver().RenderedTextSize(text, s.size(), s.text(), font(s.text()))
	return size.Width
}

// lettering is a text in a style.
func lettering(text string, s Style) *canvas.Text {
	t := canvas.NewText(text, nil)
	s.dress(t)
	return t
}

// dress gives a text a style. It names the font, too: for a text that leaves this to the theme, Fyne reads a font of the
// same style of its own, one of coloured pictures and one of the system beside it, some six megabytes for each style. Where
// the Go fonts lack a letter, one of the system is looked for then.
func (s Style) dress(t *canvas.Text) {
	t.TextSize, t.TextStyle, t.FontSource, t.Color = s.size(), s.text(), font(s.text()), paint(s.colour())
}

// pitch is the distance between two rows.
func (s Style) pitch() float32 { return float32(int(s.size()*1.4 + 0.5)) }

// Set changes the runs and lays them out again.
func (t *Text) Set(runs ...Run) {
	t.runs = runs
	t.Refresh()
}

// Refresh lays the text out again, in the sizes of the theme of now.
func (t *Text) Refresh() {
	t.made, t.widest = [2]laidOut{}, 0
	t.BaseWidget.Refresh()
}

// atom is a piece that is never broken, unless it is wider than a row.
type atom struct {
	Run
	space bool // a space stands before it
	row   bool // a new row begins with it
}

func (t *Text) atoms() []atom {
	var out []atom
	space, row := false, false
	for _, r := range t.runs {
		for i, line := range strings.Split(r.Text, "\n") {
			if i > 0 {
				if row {
					out = append(out, atom{Run{"", r.Style}, false, true}) // an empty row
				}
				row, space = true, false
			}
			for line != "" {
				cut := strings.IndexByte(line, ' ')
				word := line
				if cut >= 0 {
					word = line[:cut]
				}
				if word != "" {
					out = append(out, atom{Run{word, r.Style}, space, row})
					space, row = false, false
				}
				if cut < 0 {
					break
				}
				space = true
				line = line[cut+1:]
			}
		}
	}
	return out
}

// longest is how long a row of text gets before it wraps although there is room, in ems: some 110 letters.
const longest = 56

func (t *Text) layOut(width float32) []textLine {
	for _, m := range t.made {
		if m.width == width && m.lines != nil {
			return m.lines
		}
	}
	var lines []textLine
	line := textLine{}
	end := func() {
		if line.height == 0 {
			line.height = Style{}.pitch()
			if len(t.runs) > 0 {
				line.height = t.runs[0].pitch()
			}
		}
		lines = append(lines, line)
		line = textLine{}
	}
	space := func(st Style) float32 {
		w := st.measure(" ")
		if n := len(line.parts); n > 0 { // between two styles the narrower space stands
			w = min(w, line.parts[n-1].measure(" "))
		}
		return w
	}
	put := func(text string, st Style, gap bool) {
		line.height = max(line.height, st.pitch())
		if n := len(line.parts); n > 0 && line.parts[n-1].Style == st {
			p := &line.parts[n-1]
			w := st.measure(text)
			if gap {
				p.Text += " "
				w += space(st)
			}
			p.Text += text
			p.w += w
			line.width = p.x + p.w
			return
		}
		x := line.width
		if gap {
			x += space(st)
		}
		w := st.measure(text)
		line.parts = append(line.parts, textPart{x, w, Run{text, st}})
		line.width = x + w
	}
	atoms, room := t.atoms(), width
	if len(t.runs) > 0 && !t.right {
		width = min(width, longest*t.runs[0].size())
	}
	for i := 0; i < len(atoms); {
		j := i + 1 // atoms i..j are glued together
		for j < len(atoms) && !atoms[j].space && !atoms[j].row {
			j++
		}
		unit := float32(0)
		for _, a := range atoms[i:j] {
			unit += a.measure(a.Text)
		}
		first := atoms[i]
		gap := float32(0)
		if first.space && len(line.parts) > 0 {
			gap = space(first.Style)
		}
		if first.row || !t.oneRow && len(line.parts) > 0 && line.width+gap+unit > width+0.5 {
			end()
			gap = 0
		}
		for k, a := range atoms[i:j] {
			rest := a.Text
			for !t.oneRow && unit > width {
				n := fits(rest, a.Style, width-line.width)
				if n >= len(rest) {
					break
				}
				if n == 0 && len(line.parts) == 0 {
					_, n = utf8.DecodeRuneInString(rest)
				}
				if n > 0 {
					put(rest[:n], a.Style, false)
					rest = rest[n:]
				}
				end()
			}
			if rest != "" {
				put(rest, a.Style, k == 0 && gap > 0)
			}
		}
		i = j
	}
	end()
	t.made[0], t.made[1] = laidOut{room, lines}, t.made[0]
	return lines
}

// fits is how many bytes of s fit into a width.
func fits(s string, st Style, width float32) int {
	n := 0
	for i := range s {
		if st.measure(s[:i]) > width {
			return n
		}
		n = i
	}
	if st.measure(s) <= width {
		return len(s)
	}
	return n
}

// HeightFor is the height of the text at a width.
func (t *Text) HeightFor(width float32) float32 {
	h := float32(0)
	for _, l := range t.layOut(width) {
		h += l.height
	}
	return h
}

// natural is the width of the text when it does not wrap.
func (t *Text) natural() float32 {
	w := float32(0)
	for _, l := range t.layOut(1e6) {
		w = max(w, l.width)
	}
	return snap(w + 1)
}

// MinSize is the longest word, at the height for the present width.
func (t *Text) MinSize() fyne.Size {
	if t.oneRow {
		return fyne.NewSize(t.natural(), t.HeightFor(1e6))
	}
	if t.widest == 0 {
		for _, a := range t.atoms() {
			t.widest = max(t.widest, a.measure(a.Text))
		}
	}
	have := t.Size().Width
	if have <= 0 {
		have = t.natural()
	}
	return fyne.NewSize(min(t.widest, 120), t.HeightFor(have))
}

// CreateRenderer draws the rows.
func (t *Text) CreateRenderer() fyne.WidgetRenderer {
	t.ExtendBaseWidget(t)
	return &textRenderer{t: t}
}

type textRenderer struct {
	t       *Text
	objects []fyne.CanvasObject
}

func (r *textRenderer) Layout(size fyne.Size) {
	r.objects = r.objects[:0]
	y := float32(0)
	for _, l := range r.t.layOut(size.Width) {
		largest := float32(0)
		for _, p := range l.parts {
			largest = max(largest, p.size())
		}
		base := baseline(largest, l.height)
		shift := float32(0)
		if r.t.right {
			shift = size.Width - l.width
		}
		for _, p := range l.parts {
			c := lettering(p.Text, p.Style)
			set(c, p.x+shift, y+base)
			r.objects = append(r.objects, c)
			if p.Strike {
				s := canvas.NewLine(paint(p.colour()))
				mid := y + base - 0.27*p.size()
				s.Position1, s.Position2 = fyne.NewPos(p.x+shift, mid), fyne.NewPos(p.x+shift+p.w, mid)
				r.objects = append(r.objects, s)
			}
		}
		y += l.height
	}
}

func (r *textRenderer) MinSize() fyne.Size { return r.t.MinSize() }
func (r *textRenderer) Refresh() {
	r.Layout(r.t.Size())
	canvas.Refresh(r.t)
}
func (r *textRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *textRenderer) Destroy()                     {}

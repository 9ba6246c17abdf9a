package app

import (
	"bytes"
	"cmp"
	"errors"
	"flag"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
)

// update writes the pictures that are kept: go test ./app -run TestGolden -update
var update = flag.Bool("update", false, "TestGolden writes its pictures anew")

const goldens = "testdata/golden"

// state is a page as an owner reaches it.
type state struct {
	name  string
	setup setup
	reach func(b *bench)
}

// goldenStates are all states of all pages, but for the one that shows what the program was built with and for.
func goldenStates(t *testing.T) []state {
	var all []state
	for _, s := range scenes {
		if s.name != "help-about" {
			all = append(all, state{s.name, s.setup, s.reach})
		}
	}
	for _, s := range talkScenes {
		all = append(all, state{s.name, s.setup, s.reach})
	}
	for _, s := range liveScenes {
		all = append(all, state{s.name, s.setup, s.reach})
	}
	car := heldCar(t)
	for _, s := range lessonScenes {
		all = append(all, state{s.name, setup{}, func(b *bench) { s.reach(car(b)) }})
	}
	return all
}

// fresh gives a state a visit of its own: a visit counts what was asked, and a feed that ends is used up.
func fresh(name string, in setup) setup {
	switch {
	case name == "codes-crowded":
		in.visit = crowdedVisit(100)
	case in.visit != nil && strings.HasPrefix(name, "live"):
		in.visit = liveVisit()
	}
	return in
}

// goldenLooks are the ways in which each state is drawn: both palettes, both sizes, both languages.
var goldenLooks = []struct {
	name     string
	size     fyne.Size
	shade    look.Shade
	language string
}{
	{"light-1280", fyne.NewSize(1280, 820), look.ShadeLight, "en"},
	{"dark-1024", fyne.NewSize(1024, 700), look.ShadeDark, "en"},
	{"german-1024", fyne.NewSize(1024, 700), look.ShadeLight, "de"},
}

// TestGolden: every page in every state looks as it did when somebody last looked at it, and nothing is cut in German. The pictures are kept at half
// size in few colours: small enough to be kept, large enough to be read. The fonts are the program's own and the
// software painter draws alike everywhere; what is left between machines is in the last bits of blended edges.
func TestGolden(t *testing.T) {
	a := test.NewTempApp(t)
	kept := map[string]bool{}
	states := goldenStates(t)
	for _, l := range goldenLooks {
		for i, s := range states {
			name := filepath.Join(l.name, s.name+".png")
			if kept[name] {
				t.Errorf("two states are called %s", s.name)
			}
			kept[name] = true
			if !watched(i) {
				continue
			}
			t.Run(l.name+"/"+s.name, func(t *testing.T) {
				in := s.setup
				in.app, in.size, in.shade, in.language = a, l.size, l.shade, l.language
				if in.log != nil {
					in.log = in.log.again()
				}
				b := newBench(t, fresh(s.name, in))
				s.reach(b)
				golden(t, name, b)
				if l.language != "en" { // the other tests see to English
					fits(t, b.win)
				}
			})
		}
	}
	err := filepath.WalkDir(goldens, func(path string, d os.DirEntry, err error) error {
		name, e := filepath.Rel(goldens, path)
		if err != nil || e != nil || d.IsDir() || kept[name] {
			return errors.Join(err, e)
		}
		if *update {
			return os.Remove(path)
		}
		t.Errorf("%s is the picture of no state", path)
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

// atRest is after how many calls to its thread a window shows what it will go on to show.
const atRest = 6

// golden compares the window with the picture that is kept. What the window has asked for in the background may still be
// on its way: it looks right as soon as it looks like the picture, and wrong when it has come to rest without.
func golden(t *testing.T, name string, b *bench) {
	t.Helper()
	path := filepath.Join(goldens, name)
	if *update {
		for range atRest {
			b.next(3 * doorGap)
		}
		got := halved(b.win.Canvas().Capture())
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, encoded(t, inFewColours(got, palette(got))), 0o644)); err != nil {
			t.Fatal(err)
		}
		return
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatalf("%v; go test ./app -run TestGolden -update writes it", err)
	}
	defer f.Close()
	kept, err := png.Decode(f)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	got := halved(b.win.Canvas().Capture())
	want, ok := kept.(*image.Paletted)
	if !ok || want.Rect != got.Rect {
		t.Fatalf("%s is %v, the page is %v", path, kept.Bounds(), got.Rect)
	}
	n, at := unlike(got, want)
	for range atRest {
		if n <= mayDiffer || !b.next(time.Second) {
			break
		}
		got = halved(b.win.Canvas().Capture())
		n, at = unlike(got, want)
	}
	if n > mayDiffer {
		dir := t.ArtifactDir()
		for file, img := range map[string]image.Image{"is.png": got, "was.png": want} {
			if err := os.WriteFile(filepath.Join(dir, file), encoded(t, img), 0o644); err != nil {
				t.Error(err)
			}
		}
		t.Errorf("%s: %d dots differ, around %v of the halved picture; with -artifacts both are kept in %s. If it is meant: go test ./app -run TestGolden -update", path, n, at, dir)
	}
}

const (
	// mayDiffer is how many dots of a halved picture may be unlike before it counts as another picture: less than a letter.
	mayDiffer = 12
	// alike is how far two colours may be apart in one channel, of 255.
	alike = 40
	// colours is how many a kept picture has.
	colours = 48
)

// unlike counts the dots that differ from a kept picture, and tells where they lie. What is drawn now is first put into
// the colours that the kept picture has.
func unlike(got *image.RGBA, want *image.Paletted) (n int, at image.Rectangle) {
	now := inFewColours(got, want.Palette)
	for y := got.Rect.Min.Y; y < got.Rect.Max.Y; y++ {
		for x := got.Rect.Min.X; x < got.Rect.Max.X; x++ {
			if i, j := now.ColorIndexAt(x, y), want.ColorIndexAt(x, y); i != j && apart(want.Palette[i], want.Palette[j]) > alike {
				n++
				at = at.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	return n, at
}

func apart(a, b color.Color) int {
	x, y := color.RGBAModel.Convert(a).(color.RGBA), color.RGBAModel.Convert(b).(color.RGBA)
	diff := func(p, q uint8) int { return max(int(p)-int(q), int(q)-int(p)) }
	return max(diff(x.R, y.R), diff(x.G, y.G), diff(x.B, y.B))
}

// halved is a picture at half its size, each dot the mean of four.
func halved(full image.Image) *image.RGBA {
	size := full.Bounds().Size()
	whole := image.NewRGBA(image.Rectangle{Max: size})
	draw.Draw(whole, whole.Rect, full, full.Bounds().Min, draw.Src)
	out := image.NewRGBA(image.Rect(0, 0, size.X/2, size.Y/2))
	for y := range out.Rect.Dy() {
		upper, lower, to := whole.Pix[2*y*whole.Stride:], whole.Pix[(2*y+1)*whole.Stride:], out.Pix[y*out.Stride:]
		for x := range out.Rect.Dx() {
			for c := range 4 {
				to[4*x+c] = uint8((int(upper[8*x+c]) + int(upper[8*x+4+c]) + int(lower[8*x+c]) + int(lower[8*x+4+c])) / 4)
			}
		}
	}
	return out
}

// palette are the commonest colours of a picture, those that are nearly alike taken together.
func palette(img *image.RGBA) color.Palette {
	count := map[color.RGBA]int{}
	for i := 0; i < len(img.Pix); i += 4 {
		count[color.RGBA{img.Pix[i], img.Pix[i+1], img.Pix[i+2], 255}]++
	}
	var all []color.RGBA
	for c := range count {
		all = append(all, c)
	}
	slices.SortFunc(all, func(a, b color.RGBA) int {
		return cmp.Or(count[b]-count[a], int(a.R)-int(b.R), int(a.G)-int(b.G), int(a.B)-int(b.B))
	})
	var out color.Palette
	for _, near := range []int{6, 14, 24} { // grounds first, then blended edges where there is room
		for _, c := range all {
			if len(out) < colours && !slices.ContainsFunc(out, func(x color.Color) bool { return apart(x, c) < near }) && (near > 6 || count[c] > 400) {
				out = append(out, c)
			}
		}
	}
	return out
}

// inFewColours is a picture in the colours of a palette.
func inFewColours(img *image.RGBA, p color.Palette) *image.Paletted {
	out := image.NewPaletted(img.Rect, p)
	known := map[color.RGBA]uint8{}
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			c := img.RGBAAt(x, y)
			i, ok := known[c]
			if !ok {
				i = uint8(p.Index(c))
				known[c] = i
			}
			out.SetColorIndex(x, y, i)
		}
	}
	return out
}

func encoded(t *testing.T, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestGoldenSees: the comparison passes the same page and what differs in the last bits, and sees a single word that is
// another, a mark that is gone and a colour that has changed.
func TestGoldenSees(t *testing.T) {
	drawn := func(change func(b *bench)) *image.RGBA {
		b := newBench(t, setup{})
		b.connect()
		change(b)
		return halved(b.win.Canvas().Capture())
	}
	same := func(*bench) {}
	was := drawn(same)
	kept := inFewColours(was, palette(was))
	if n, _ := unlike(drawn(same), kept); n != 0 {
		t.Errorf("the same page differs in %d dots", n)
	}
	noisy := image.NewRGBA(was.Rect)
	for i, v := range was.Pix {
		noisy.Pix[i] = uint8(min(255, int(v)+i%3))
	}
	for i := 3; i < len(noisy.Pix); i += 4 {
		noisy.Pix[i] = 255
	}
	if n, _ := unlike(noisy, kept); n > mayDiffer {
		t.Errorf("the last bits count as %d dots", n)
	}
	for name, change := range map[string]func(b *bench){
		"another word": func(b *bench) { b.visit.abilities.Name = "Practice cat"; b.w.draw() },
		"busy":         func(b *bench) { b.visit.hold = make(chan struct{}); b.w.startLooking(); b.w.draw() },
		"chosen":       func(b *bench) { b.w.Show(PageCodes) },
		"dark":         func(b *bench) { taste := b.w.opt.Taste; taste.Shade = look.ShadeDark; b.w.taste(taste) },
	} {
		if n, _ := unlike(drawn(change), kept); n <= mayDiffer {
			t.Errorf("%s is seen in %d dots only", name, n)
		}
	}
}

package app

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
)

// choice is a choice of a file or a folder while it is made. It has the page to itself.
type choice struct {
	folder bool     // a folder is chosen, not a file
	save   bool     // a file is to be written
	kinds  []string // endings of the files that are shown, ".pcapng"; none is every file
	take   func(path string)
	from   Page // where it began

	dir     string
	entries []chosenEntry
	err     error
	exists  string // a file of this name is there: whether to write over it is asked
	read    int    // counts the folders that were read, so that a late answer is known
}

// chosenEntry is a folder or a file that can be chosen.
type chosenEntry struct {
	name   string
	folder bool
	size   int64
	at     time.Time
}

// chooseState is what stays from one choice to the next.
type chooseState struct {
	now        *choice // nil when none is made
	places     []folderPlace
	path, name *look.Field
	list       *look.Many
	column     *chooseColumn
}

func (w *Window) makeChooseParts() {
	s := &w.pick
	s.path = look.NewField("choose-path", T("choose.path.hint"), true, nil)
	s.path.OnSubmitted = func(text string) { w.openFolder(text) }
	s.name = look.NewField("choose-name", T("keep.name.hint"), true, func(string) {
		if c := s.now; c != nil && c.exists != "" {
			c.exists = ""
			w.draw()
		}
	})
	s.name.OnSubmitted = func(string) { w.saveHere(false) }
	s.list = look.NewMany("choose", func(int) { w.draw() }).Opens(func(i int) { w.pickEntry(s.column.entries[i]) }).AtOnce()
	s.column = &chooseColumn{}
}

// chooseFile lets the owner choose a file of some kinds, ".pcapng" or ".zip"; no kind is every file. folder is where
// it is looked for first, "" where a file was chosen last.
func (w *Window) chooseFile(folder string, kinds []string, take func(path string)) {
	w.choose(&choice{kinds: kinds, take: take}, folder)
}

// chooseFolder lets the owner choose a folder.
func (w *Window) chooseFolder(folder string, take func(dir string)) {
	w.choose(&choice{folder: true, take: take}, folder)
}

// chooseTarget lets the owner choose where a file of a kind is written, and how it is called. A file that is there already
// is only given to take when the owner has said that it may be written over.
func (w *Window) chooseTarget(folder, name, kind string, take func(path string)) {
	w.pick.name.SetText(name)
	w.choose(&choice{save: true, kinds: []string{kind}, take: take}, folder)
}

func (w *Window) choose(c *choice, folder string) {
	if c.from = w.page; w.pick.now != nil {
		c.from = w.pick.now.from
	}
	w.pick.now = c
	if folder == "" {
		folder = w.lastFolder()
	}
	w.Show(PageChoose)
	home := w.opt.Home
	w.act(func(context.Context) func() {
		places := folderPlaces(home)
		return func() { w.pick.places = places }
	})
	w.openFolder(folder)
}

// lastFolder is where a file was chosen last, else the documents folder, else the owner's own.
func (w *Window) lastFolder() string {
	if dir := w.opt.Taste.Folders.Last; dir != "" {
		return dir
	}
	return documentsOf(w.opt.Home)
}

// openFolder lists what is in a folder, off the window's thread. Of one that is not there the nearest one above is listed.
func (w *Window) openFolder(dir string) {
	c := w.pick.now
	if c == nil {
		return
	}
	dir = filepath.Clean(strings.TrimSpace(dir))
	if !filepath.IsAbs(dir) {
		dir = filepath.Join(w.opt.Home, dir)
	}
	c.read++
	read, kinds := c.read, c.kinds
	w.act(func(context.Context) func() {
		at, entries, err := listFolder(dir, kinds, c.folder)
		return func() {
			if w.pick.now != c || c.read != read {
				return
			}
			c.dir, c.entries, c.err, c.exists = at, entries, err, ""
			w.pick.column = &chooseColumn{entries: entries, now: w.now()}
			w.pick.path.SetText(at)
			w.main.ToTop()
		}
	})
}

// mostEntries is how many entries of a folder are listed.
const mostEntries = 5000

// listFolder lists the folders and the files of some kinds in a folder, or in the nearest one above it that is there.
func listFolder(dir string, kinds []string, foldersOnly bool) (at string, out []chosenEntry, err error) {
	all, err := os.ReadDir(dir)
	for errors.Is(err, fs.ErrNotExist) && filepath.Dir(dir) != dir {
		dir = filepath.Dir(dir)
		all, err = os.ReadDir(dir)
	}
	for _, e := range all {
		name := e.Name()
		if strings.HasPrefix(name, ".") || len(out) == mostEntries {
			continue
		}
		info, e2 := os.Stat(filepath.Join(dir, name)) // what a link leads to
		if e2 != nil || !info.IsDir() && (foldersOnly || !info.Mode().IsRegular() || !ofKind(name, kinds)) {
			continue
		}
		out = append(out, chosenEntry{name: name, folder: info.IsDir(), size: info.Size(), at: info.ModTime()})
	}
	slices.SortStableFunc(out, func(a, b chosenEntry) int {
		if a.folder != b.folder {
			if a.folder {
				return -1
			}
			return 1
		}
		return strings.Compare(strings.ToLower(a.name), strings.ToLower(b.name))
	})
	return dir, out, err
}

func ofKind(name string, kinds []string) bool {
	return len(kinds) == 0 || slices.ContainsFunc(kinds, func(k string) bool { return strings.EqualFold(filepath.Ext(name), k) })
}

// pickEntry goes into a folder, takes a file that is to be read, or takes over the name of one for a file that is to be
// written.
func (w *Window) pickEntry(e chosenEntry) {
	c := w.pick.now
	switch {
	case c == nil:
	case e.folder:
		w.openFolder(filepath.Join(c.dir, e.name))
	case c.save:
		w.pick.name.SetText(e.name)
		w.draw()
	default:
		w.chosen(filepath.Join(c.dir, e.name))
	}
}

// saveHere takes the name that is written. over tells that a file of that name may be written over.
func (w *Window) saveHere(over bool) {
	c := w.pick.now
	name := strings.TrimSpace(w.pick.name.Text)
	if c == nil || !c.save || name == "" {
		return
	}
	if name != filepath.Base(name) || name == "." || name == ".." {
		c.err = errFileName
		w.draw()
		return
	}
	if !ofKind(name, c.kinds) {
		name += c.kinds[0]
	}
	path := filepath.Join(c.dir, name)
	w.act(func(context.Context) func() {
		_, err := os.Lstat(path)
		return func() {
			switch {
			case w.pick.now != c:
			case err == nil && !over:
				c.exists = name
			case err != nil && !errors.Is(err, fs.ErrNotExist):
				c.err = err
			default:
				w.chosen(path)
			}
		}
	})
}

// errFileName means that a name can't be that of a file in the folder that is shown.
var errFileName = errors.New("app: no name of a file")

// chosen ends the choice with a path, and remembers the folder.
func (w *Window) chosen(path string) {
	c := w.pick.now
	dir := c.dir
	w.leaveChoice()
	if w.opt.Taste.Folders.Last != dir {
		w.opt.Taste.Folders.Last = dir
		w.keepTaste()
	}
	c.take(path)
	w.draw()
}

// leaveChoice leaves a choice; nothing is chosen.
func (w *Window) leaveChoice() {
	if c := w.pick.now; c != nil {
		w.pick.now = nil
		w.backTo(c.from)
	}
}

// folderSentence says why a folder can't be listed.
func folderSentence(err error) string {
	switch {
	case errors.Is(err, errFileName):
		return T("choose.err.name")
	case errors.Is(err, fs.ErrPermission):
		return T("choose.err.rights")
	}
	return errorText(err)
}

// chooseColumn are the folders and files of a folder, a row each.
type chooseColumn struct {
	entries []chosenEntry
	now     time.Time
}

func (c *chooseColumn) Len() int                        { return len(c.entries) }
func (c *chooseColumn) Heading(int) bool                { return false }
func (c *chooseColumn) Odd(float32) []int               { return nil }
func (c *chooseColumn) Height(_ int, w float32) float32 { return c.EvenHeight(w) }
func (c *chooseColumn) EvenHeight(width float32) float32 {
	return max(45, look.HeightFor(c.row(chosenEntry{}), width))
}
func (c *chooseColumn) Build(i int) fyne.CanvasObject { return c.row(c.entries[i]) }

func (c *chooseColumn) row(e chosenEntry) fyne.CanvasObject {
	name := look.NewCut(look.Run{Text: e.name, Style: look.Style{Bold: e.folder}})
	kind, at := T("choose.folder.word"), ""
	if !e.folder {
		kind, at = T("choose.size", "Size", megabytes(e.size)), when(e.at, c.now)
	}
	return look.Pad(6, 14, 6, 14, look.Either(look.Scaled(430),
		look.Row(12, look.Growing(name), look.Fixed(look.Scaled(84), cut(kind, cutSoft)), look.Fixed(look.Scaled(150), cut(at, cutSoft))),
		look.Stack(1, name, cut(dots(kind, at), cutFine))))
}

package app

import (
	"bufio"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
)

// choosePage shows what is in a folder, and lets the owner choose.
func (w *Window) choosePage() (body, margin fyne.CanvasObject) {
	s, c := &w.pick, w.pick.now
	margin = w.margin("", T("choose.m.how"), T("choose.m.how.text"), T("choose.m.kept"), T("choose.m.kept.text"))
	if c == nil {
		return w.header(T("choose.file"), ""), margin
	}
	title, lead := T("choose.file"), T("choose.all")
	switch {
	case c.folder:
		title, lead = T("choose.folder"), T("choose.folder.lead")
	case c.save:
		title = T("choose.save")
	}
	if len(c.kinds) > 0 {
		lead = T("choose.kinds", "Kinds", commas(c.kinds))
	}
	var places []fyne.CanvasObject
	for i, p := range w.shownPlaces() {
		places = append(places, look.NewButton("choose-place "+string(rune('a'+i)), p.name, look.Quiet, func() { w.openFolder(p.dir) }).Chosen(p.dir == c.dir))
	}
	acts := []look.Cell{look.Growing(s.path), look.Natural(look.NewButton("choose-go", T("choose.go"), look.Plain, func() { w.openFolder(s.path.Text) }).Small())}
	parts := []fyne.CanvasObject{w.header(title, lead), choices(places...), look.Row(10, acts...)}
	if c.err != nil {
		parts = append(parts, look.Noted(look.Alert, look.Body(folderSentence(c.err))))
	}
	if up := filepath.Dir(c.dir); c.dir != "" && up != c.dir {
		parts = append(parts, look.Buttons(look.NewButton("choose-up", T("choose.up", "Folder", up), look.Quiet, func() { w.openFolder(up) })))
	}
	s.list.Fill(s.column, s.list.Chosen())
	switch {
	case len(c.entries) > 0:
		parts = append(parts, s.list)
	case c.err == nil && c.dir != "":
		parts = append(parts, look.Boxed(look.Small(T("choose.empty"))))
	}
	return look.Stack(10, parts...), margin
}

// chooseFoot is the name of a file that is written, and the buttons.
func (w *Window) chooseFoot() fyne.CanvasObject {
	s, c := &w.pick, w.pick.now
	leave := look.NewButton("choose-leave", T("cancel"), look.Plain, w.leaveChoice)
	acts := []fyne.CanvasObject{leave}
	var parts []fyne.CanvasObject
	switch {
	case c.folder && c.dir != "" && c.err == nil:
		acts = []fyne.CanvasObject{look.NewButton("choose-take", T("choose.take"), look.Main, func() { w.chosen(c.dir) }), leave}
	case c.exists != "":
		parts = append(parts, look.Noted(look.Amber, look.Body(T("choose.exists", "File", c.exists))), s.name)
		acts = []fyne.CanvasObject{look.NewButton("choose-leave", T("choose.keep"), look.Plain, w.leaveChoice), look.NewButton("choose-over", T("choose.over"), look.Plain, func() { w.saveHere(true) })}
	case c.save:
		parts = append(parts, s.name)
		acts = []fyne.CanvasObject{look.NewButton("choose-save", T("choose.save.do"), look.Main, func() { w.saveHere(false) }), leave}
	}
	return look.Stack(0, look.Hair(), look.Pad(7, 30, 7, 30, look.Stack(6, append(parts, look.Buttons(acts...))...)))
}

// folderPlace is a folder that can be gone to at once.
type folderPlace struct{ name, dir string }

// shownPlaces are the folders that can be gone to, each once.
func (w *Window) shownPlaces() (out []folderPlace) {
	seen := map[string]bool{}
	for _, p := range append(append([]folderPlace{}, w.pick.places...), folderPlace{T("choose.last"), w.opt.Taste.Folders.Last}) {
		if p.dir != "" && !seen[p.dir] {
			seen[p.dir] = true
			out = append(out, p)
		}
	}
	return out
}

// folderPlaces are the folders of the owner's that are there, and the disks that were put in.
func folderPlaces(home string) (out []folderPlace) {
	add := func(name, dir string) {
		if info, err := os.Stat(dir); dir != "" && err == nil && info.IsDir() {
			out = append(out, folderPlace{name, dir})
		}
	}
	add(T("choose.home"), home)
	for _, k := range []string{"DOCUMENTS", "DESKTOP", "DOWNLOAD"} {
		if dir := userFolder(home, k); dir != home {
			add(filepath.Base(dir), dir)
		}
	}
	if runtime.GOOS == "windows" {
		for letter := 'A'; letter <= 'Z'; letter++ {
			add(string(letter)+":", string(letter)+`:\`)
		}
		return out
	}
	for _, pattern := range []string{"/media/*/*", "/run/media/*/*", "/Volumes/*"} {
		disks, _ := filepath.Glob(pattern) // the pattern is well formed
		for _, d := range disks {
			add(filepath.Base(d), d)
		}
	}
	return out
}

// documentsOf is the documents folder of an owner, their own folder where there is none.
func documentsOf(home string) string {
	dir := userFolder(home, "DOCUMENTS")
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return home
	}
	return dir
}

// userFolder is one of the folders that a desktop gives its user: as user-dirs.dirs names it (freedesktop.org,
// xdg-user-dirs), else under its English name.
func userFolder(home, key string) string {
	usual := map[string]string{"DOCUMENTS": "Documents", "DESKTOP": "Desktop", "DOWNLOAD": "Downloads"}[key]
	config := os.Getenv("XDG_CONFIG_HOME")
	if config == "" {
		config = filepath.Join(home, ".config")
	}
	f, err := os.Open(filepath.Join(config, "user-dirs.dirs"))
	if err != nil {
		return filepath.Join(home, usual)
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if value, ok := strings.CutPrefix(strings.TrimSpace(lines.Text()), "XDG_"+key+"_DIR="); ok {
			dir := strings.Trim(value, `"`)
			if rest, ok := strings.CutPrefix(dir, "$HOME"); ok {
				dir = home + rest
			}
			if filepath.IsAbs(dir) {
				return filepath.Clean(dir)
			}
		}
	}
	return filepath.Join(home, usual)
}

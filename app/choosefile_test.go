package app

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"fyne.io/fyne/v2"
)

// files makes a folder with files; a name that ends in a stroke is a folder.
func files(t *testing.T, names ...string) string {
	t.Helper()
	dir := t.TempDir()
	for _, n := range names {
		path := filepath.Join(dir, filepath.FromSlash(n))
		if n[len(n)-1] == '/' {
			if err := os.MkdirAll(path, 0o755); err != nil {
				t.Fatal(err)
			}
		} else if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func (b *bench) entries() (names []string) {
	for _, e := range b.w.pick.column.entries {
		names = append(names, e.name)
	}
	return names
}

// shows waits until a folder is listed.
func (b *bench) shows(dir string) {
	b.t.Helper()
	b.until("listed "+dir, func() bool { return b.w.pick.now != nil && b.w.pick.now.dir == dir })
}

// TestChooseFile: folders and files of the kind are listed, folders first and nothing hidden; a folder is gone into, a file is
// taken, the folder is remembered, and the page is as it was.
func TestChooseFile(t *testing.T) {
	dir := files(t, "b/", "A.PCAPNG", "c.txt", ".hidden.pcapng", "b/inner.pcapng")
	b := newBench(t, setup{})
	b.w.opt.Home = dir
	kept := 0
	b.w.opt.Keep = func(Taste) { kept++ }
	b.w.Show(PageSettings)
	took := ""
	choose := func() {
		b.w.chooseFile("", []string{recordingFile}, func(path string) { took = path })
	}
	choose()
	b.shows(dir)
	if got := b.entries(); !slices.Equal(got, []string{"b", "A.PCAPNG"}) {
		t.Errorf("listed: %q", got)
	}
	b.says("Choose a file", "Files that end in .pcapng are listed")
	b.w.pickEntry(b.w.pick.column.entries[0])
	b.shows(filepath.Join(dir, "b"))
	b.tap("choose-up")
	b.shows(dir)
	b.key(fyne.KeyEscape)
	if b.w.page != PageSettings || took != "" || kept != 0 {
		t.Errorf("Escape: page %s, took %q, kept %d", b.w.page, took, kept)
	}
	choose()
	b.w.pick.path.SetText(filepath.Join(dir, "b", "not there", "at all"))
	b.tap("choose-go")
	b.shows(filepath.Join(dir, "b")) // the nearest that is there
	b.w.pickEntry(b.w.pick.column.entries[0])
	if want := filepath.Join(dir, "b", "inner.pcapng"); took != want || b.w.page != PageSettings || kept != 1 {
		t.Errorf("took %q, want %q; page %s, kept %d", took, want, b.w.page, kept)
	}
	choose()
	b.shows(filepath.Join(dir, "b")) // remembered
	b.w.Show(PageCable)
	if b.w.pick.now != nil {
		t.Error("the choice goes on beside another page")
	}
}

// TestChooseTarget: a name gets its ending, one that is taken is asked about, and no name leads out of the folder.
func TestChooseTarget(t *testing.T) {
	dir := files(t, "report.pdf", "Documents/")
	b := newBench(t, setup{})
	b.w.opt.Home = dir
	took := ""
	b.w.chooseTarget("", "report.pdf", ".pdf", func(path string) { took = path })
	b.shows(filepath.Join(dir, "Documents"))
	b.w.openFolder(dir)
	b.shows(dir)
	b.tap("choose-save")
	b.until("asked", func() bool { return b.w.pick.now.exists != "" })
	b.says("There is a file report.pdf here already", "Keep the file", "Write over it")
	if b.has("choose-save") || took != "" {
		t.Errorf("not asked; took %q", took)
	}
	b.w.pick.name.SetText("../report")
	b.tap("choose-save")
	b.says("That can not be the name of a file here")
	b.w.pick.name.SetText("report")
	b.tap("choose-save")
	b.until("asked", func() bool { return b.w.pick.now.exists != "" })
	b.tap("choose-over")
	b.until("taken", func() bool { return took != "" })
	if want := filepath.Join(dir, "report.pdf"); took != want {
		t.Errorf("took %q, want %q", took, want)
	}
	b.w.chooseTarget(dir, "another.pdf", ".pdf", func(path string) { took = path })
	b.shows(dir)
	b.tap("choose-save")
	b.until("taken", func() bool { return took == filepath.Join(dir, "another.pdf") })
}

// TestChooseFolder: only folders are listed, and the one that is shown is taken.
func TestChooseFolder(t *testing.T) {
	dir := files(t, "b/", "a.zip")
	b := newBench(t, setup{})
	took := ""
	b.w.chooseFolder(dir, func(path string) { took = path })
	b.shows(dir)
	if got := b.entries(); !slices.Equal(got, []string{"b"}) {
		t.Errorf("listed: %q", got)
	}
	b.tap("choose-take")
	if took != dir {
		t.Errorf("took %q", took)
	}
}

// TestUserFolders: the folders are those that the desktop names (freedesktop.org, xdg-user-dirs).
func TestUserFolders(t *testing.T) {
	home := files(t, ".config/", "Dokumente/")
	t.Setenv("XDG_CONFIG_HOME", "")
	if got, want := userFolder(home, "DOCUMENTS"), filepath.Join(home, "Documents"); got != want {
		t.Errorf("without a file: %q", got)
	}
	if got := documentsOf(home); got != home {
		t.Errorf("without a documents folder: %q", got)
	}
	text := "# comment\nXDG_DOWNLOAD_DIR=\"relative\"\nXDG_DOCUMENTS_DIR=\"$HOME/Dokumente\"\n"
	if err := os.WriteFile(filepath.Join(home, ".config", "user-dirs.dirs"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if got, want := documentsOf(home), filepath.Join(home, "Dokumente"); got != want {
		t.Errorf("named: %q, want %q", got, want)
	}
	if got, want := userFolder(home, "DOWNLOAD"), filepath.Join(home, "Downloads"); got != want {
		t.Errorf("a relative one: %q, want %q", got, want)
	}
}

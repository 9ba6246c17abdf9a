package app

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/dialog"
	"fyne.io/fyne/v2/storage"
)

// showChoice shows a choice of a file or a folder nearly as large as the window. Escape closes it.
func (w *Window) showChoice(d *dialog.FileDialog, folder string) {
	if folder != "" {
		if at, err := storage.ListerForURI(storage.NewFileURI(folder)); err == nil {
			d.SetLocation(at)
		}
	}
	size := w.win.Canvas().Size()
	d.Resize(fyne.NewSize(min(1100, size.Width-80), min(760, size.Height-80)))
	w.choosing = d
	d.SetOnClosed(func() { w.choosing = nil })
	d.Show()
}

// chooseFile lets the owner choose a file of some kinds, ".pcapng" or ".zip"; no kind is every file. folder is where
// it is looked for first, "" the usual place.
func (w *Window) chooseFile(folder string, kinds []string, take func(path string), fail func(error)) {
	d := dialog.NewFileOpen(func(r fyne.URIReadCloser, err error) {
		if err == nil && r != nil {
			path := r.URI().Path()
			if err = r.Close(); err == nil {
				take(path)
				return
			}
		}
		if err != nil {
			fail(err)
		}
	}, w.win)
	if len(kinds) > 0 {
		d.SetFilter(storage.NewExtensionFileFilter(kinds))
	}
	d.SetTitleText(T("choose.file"))
	w.showChoice(d, folder)
}

// chooseFolder lets the owner choose a folder.
func (w *Window) chooseFolder(folder string, take func(dir string)) {
	d := dialog.NewFolderOpen(func(l fyne.ListableURI, err error) {
		if err == nil && l != nil {
			take(l.Path())
		}
	}, w.win)
	d.SetTitleText(T("choose.folder"))
	w.showChoice(d, folder)
}

// leaveChoice closes a choice that is open, and reports whether there was one.
func (w *Window) leaveChoice() bool {
	if w.choosing == nil {
		return false
	}
	w.choosing.Hide()
	w.choosing = nil
	return true
}

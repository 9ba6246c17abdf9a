package app

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"path/filepath"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/storage"

	"readback/app/look"
	"readback/diag/signal"
	"readback/diag/trace"
)

// talkReading is a recording that is being read.
type talkReading struct {
	name   string
	frames int
	stop   context.CancelFunc
}

// Kinds of files that the window takes.
const (
	recordingFile = ".pcapng"
	signalFile    = ".dbc"
	cardFile      = ".txt"
	bundleFile    = ".zip"
)

// errOtherFile means that a file was dropped on the window that it can't use.
var errOtherFile = errors.New("app: no file of a kind that is read here")

// dropped takes files that were dropped on the window.
func (w *Window) dropped(files []fyne.URI) {
	for _, f := range files {
		switch strings.ToLower(f.Extension()) {
		case recordingFile:
			if w.page != PageHeard {
				w.Show(PageTalk)
			}
			w.readRecording(f.Path())
		case signalFile:
			if w.page != PageLive {
				w.Show(PageHeard)
			}
			w.readSignals(f.Path())
		case bundleFile:
			w.takeBundle(f.Path())
		case cardFile:
			w.Show(PageRequest)
			r, err := storage.Reader(f)
			if err != nil {
				w.card.err = err
				w.draw()
				continue
			}
			w.readCards(r)
		default:
			w.said.err = errOtherFile
			w.Show(PageTalk)
		}
	}
}

// openFile lets the owner choose a file of a kind.
func (w *Window) openFile(kind string, read func(path string)) {
	w.chooseFile(w.opt.Taste.Folders.Recordings, []string{kind}, read)
}

func (w *Window) openRecording() { w.openFile(recordingFile, w.readRecording) }
func (w *Window) openSignals()   { w.openFile(signalFile, w.readSignals) }

// tellEvery is how many pieces of a recording are taken in before the page is told again how far that has come.
const tellEvery = 16

// readRecording reads a recording off the window's thread. One that is being read is given up.
func (w *Window) readRecording(path string) {
	t := &w.said
	w.stopReading()
	ctx, stop := context.WithCancel(w.ctx)
	r := &talkReading{name: filepath.Base(path), stop: stop}
	t.reading, t.err, t.keeping = r, nil, false
	w.actIn(ctx, func(ctx context.Context) func() {
		s := newSaid(0)
		s.name = r.name
		s.err = s.read(ctx, path, func(frames int) {
			w.door.hand("recording", func() { r.frames = frames })
		})
		s.ended = true
		stop()
		return func() {
			if t.reading != r {
				return
			}
			t.reading = nil
			if s.table.Frames() == 0 && s.talk.Len() == 0 && s.err != nil {
				t.err = s.err
				return
			}
			t.file, t.onFile = s, true
			w.resetTalk()
			w.main.ToTop()
		}
	})
	w.draw()
}

// read takes in a recording. What came before an error counts.
func (s *said) read(ctx context.Context, path string, tell func(frames int)) error {
	defer s.talk.End()
	r, err := trace.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	var b trace.Batch
	for n := 1; ; n++ {
		err := r.Fill(&b)
		s.add(b.Entries)
		switch {
		case err == io.EOF:
			return nil
		case err != nil:
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case n%tellEvery == 0:
			tell(n * trace.BatchSize)
		}
	}
}

// stopReading gives up the recording that is being read.
func (w *Window) stopReading() {
	if r := w.said.reading; r != nil {
		r.stop()
		w.said.reading = nil
		w.draw()
	}
}

// readSignals reads a signal definition file.
func (w *Window) readSignals(path string) {
	w.said.err = nil
	w.act(func(context.Context) func() {
		f, err := signal.ReadFile(path)
		return func() {
			if w.said.err = err; err == nil {
				w.ear.signals, w.ear.file = f, filepath.Base(path)
				w.siftHeard()
			}
		}
	})
}

// fileSentence says what is wrong with a file.
func fileSentence(err error) string {
	var recording *trace.FormatError
	var definition *signal.FormatError
	var file *fs.PathError
	switch {
	case errors.Is(err, errOtherFile):
		return T("talk.err.kind")
	case errors.As(err, &recording) && recording.Packet > 0:
		return T("talk.err.recording.part", "File", filepath.Base(recording.Path), "Packet", grouped(recording.Packet), "Why", told(recording.Text))
	case errors.As(err, &recording):
		return T("talk.err.recording", "File", filepath.Base(recording.Path), "Why", told(recording.Text))
	case errors.As(err, &definition):
		return T("talk.err.signals", "File", filepath.Base(definition.Path), "Why", told(definition.Text))
	}
	if errors.As(err, &file) {
		key := "talk.err.file"
		if errors.Is(err, fs.ErrNotExist) {
			key = "talk.err.gone"
		}
		return T(key, "File", filepath.Base(file.Path), "Why", file.Err.Error())
	}
	return errorText(err)
}

// readingBody is the page while a recording is read.
func (w *Window) readingBody() fyne.CanvasObject {
	r := w.said.reading
	return look.Stack(18, w.header(T("talk.reading"), T("talk.reading.lead", "File", r.name, "Count", grouped(r.frames))),
		look.Buttons(look.NewButton("talk-stop", T("cancel"), look.Plain, w.stopReading)))
}

// noTalk is a page for which nothing has been said yet.
func (w *Window) noTalk(title, lead string) fyne.CanvasObject {
	acts := w.ways(look.NewButton("go-link", T("go.link"), look.Main, func() { w.Show(PageLink) }), look.NewButton("talk-open", T("talk.open"), look.Plain, w.openRecording))
	return look.Stack(18, kept([]fyne.CanvasObject{w.header(title, lead), w.talkTrouble(), w.promise(), look.Buttons(acts...)})...)
}

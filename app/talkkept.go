package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/garage"
)

// keptRecording is a recording beside the logbook, and the car that it is of.
type keptRecording struct {
	garage.Recording
	car, path string
}

// enterTalk reads which recordings are kept beside the logbook.
func (w *Window) enterTalk() {
	log := w.engine.Log
	if log == nil {
		return
	}
	w.act(func(ctx context.Context) func() {
		var list []keptRecording
		cars, err := log.Cars(ctx)
		for _, c := range cars {
			if err != nil {
				break
			}
			var of []garage.Recording
			of, err = log.Recordings(ctx, c.ID)
			for _, r := range of {
				list = append(list, keptRecording{r, named(c.Name), log.RecordingPath(r)})
			}
		}
		slices.SortStableFunc(list, func(a, b keptRecording) int { return b.Begun.Compare(a.Begun) })
		return func() { w.said.kept, w.said.keptErr = list, err }
	})
}

// fewKept is how many kept recordings are listed at first.
const fewKept = 5

// keptRecordings are the recordings beside the logbook, nil when there are none or they are not asked for.
func (w *Window) keptRecordings() fyne.CanvasObject {
	t := &w.said
	if t.keptErr != nil {
		return look.Noted(look.Alert, look.Body(errorText(t.keptErr)))
	}
	if len(t.kept) == 0 {
		return nil
	}
	list := t.kept
	if !t.allKept {
		list = list[:min(fewKept, len(list))]
	}
	var rows []fyne.CanvasObject
	for _, r := range list {
		about := N("talk.kept.frames", r.Frames, "Count", grouped(r.Frames), "Minutes", span(r.Ended.Sub(r.Begun)))
		if r.Entry != 0 {
			about = dots(about, T("talk.kept.change"))
		}
		text := look.Stack(1, look.AsIs(r.car, look.Style{Bold: true}), look.Small(dots(when(r.Begun, w.now()), about)))
		rows = append(rows, look.Pad(7, 12, 7, 14, look.Row(12, look.Growing(text), look.Natural(look.NewButton(fmt.Sprintf("kept %d", r.ID), T("talk.kept.open"), look.Plain, func() { w.readRecording(r.path) }).Small()))))
	}
	parts := []fyne.CanvasObject{look.Head(N("talk.kept", len(t.kept), "Count", grouped(len(t.kept)))), look.Rows(rows...)}
	if n := len(t.kept) - len(list); n > 0 {
		parts = append(parts, look.Buttons(look.NewButton("kept-all", N("talk.kept.more", n), look.Quiet, func() { t.allKept = true; w.draw() })))
	}
	return look.Stack(6, parts...)
}

// span is how long a visit took.
func span(d time.Duration) string {
	if d < 2*time.Minute {
		return N("talk.seconds", int(d.Seconds()+0.5))
	}
	return N("talk.minutes", int(d.Minutes()+0.5))
}

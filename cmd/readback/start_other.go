//go:build !windows

package main

import (
	"bytes"
	"io"
	"log"
	"os"
	"sync"
	"time"
)

// start shows the window in this process, which gets ready for it while the display is checked by another one.
func start(self string, f flags) (code int) {
	late := &lateLog{to: os.Stderr}
	log.SetOutput(late) // what Fyne says of a display that can't be used is told better by the check
	checked := make(chan screen)
	go func() {
		s := check(self)
		if s.Cause == "" {
			late.open()
		} else {
			tell(s.words())
			time.AfterFunc(answerTime, func() { os.Exit(exitNoDisplay) }) // the display may hold the main thread up
		}
		for {
			checked <- s
		}
	}()
	defer func() {
		switch r := recover(); {
		case r == nil:
		case (<-checked).Cause != "": // that has been told
			code = exitNoDisplay
		default:
			ended(r)
			panic(r)
		}
	}()
	return showWindow(f, func() screen { return <-checked })
}

// lateLog keeps what is logged until it is opened.
type lateLog struct {
	to io.Writer

	mu     sync.Mutex
	opened bool
	kept   bytes.Buffer
}

// Write keeps a line, or writes it.
func (l *lateLog) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.opened {
		return l.to.Write(b)
	}
	return l.kept.Write(b)
}

// open writes what was kept, and lets everything through from now on.
func (l *lateLog) open() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.opened = true
	_, _ = l.kept.WriteTo(l.to) // the log has nobody to tell that it can't be written
}

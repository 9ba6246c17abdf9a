package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
)

// guard is another process of this program. It lasts until this one has its first picture, and tells what was in the way where
// this one is gone before that.
type guard struct {
	process *exec.Cmd
	line    io.WriteCloser
	once    sync.Once
}

// dismissal is what a guard hears when it is not needed any more. Where its line ends without it, the other process is gone.
const dismissal = '.'

func newGuard(self string) (*guard, error) {
	c := exec.Command(self)
	c.Env = append(os.Environ(), roleVar+"="+roleGuard)
	c.Stdout, c.Stderr = os.Stdout, os.Stderr
	line, err := c.StdinPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		return nil, fmt.Errorf("readback: starting the guard: %w", err)
	}
	return &guard{process: c, line: line}, nil
}

// dismiss ends the guard, which has nothing to tell any more. Only the first call does something.
func (g *guard) dismiss() {
	if g == nil {
		return
	}
	g.once.Do(func() {
		_, err := g.line.Write([]byte{dismissal})
		told(errors.Join(err, g.line.Close(), g.process.Wait()))
	})
}

// standGuard is the whole life of the guarding process.
func standGuard(line io.Reader, check func() screen, tell func(string)) int {
	word := make([]byte, 1)
	if _, err := io.ReadFull(line, word); err == nil && word[0] == dismissal {
		return exitDone
	}
	if s := check(); s.Cause != "" {
		tell(s.words())
		return exitNoDisplay
	}
	tell("The window ended before its first picture was drawn, though a window can be opened here. Start it again.")
	return exitFailed
}

package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"syscall"
)

// start checks the display, then runs the window in a process of its own and waits for it: here, what a program that breaks
// down prints is seen by nobody, and another one must say it. Interrupts are passed on.
func start(self string, f flags) int {
	s := check(self)
	if s.Cause != "" {
		tell(s.words())
		return exitNoDisplay
	}
	c := exec.Command(self, "--place", f.place, "--theme", f.theme, "--size", s.clamp(f.wanted()).String())
	c.Env = append(os.Environ(), roleVar+"="+roleWindow)
	c.Stdin, c.Stdout, c.Stderr = os.Stdin, os.Stdout, os.Stderr
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	defer signal.Stop(signals)
	if err := c.Start(); err != nil {
		tell(fmt.Sprintf("readback: starting the window: %v", err))
		return exitFailed
	}
	done := make(chan error, 1)
	go func() { done <- c.Wait() }()
	for {
		select {
		case sig := <-signals:
			if err := c.Process.Signal(sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
				if err := c.Process.Kill(); err != nil { // a system that can't pass signals on
					fmt.Fprintln(os.Stderr, "readback: ending the window:", err)
				}
			}
		case err := <-done:
			return exitCode(err)
		}
	}
}

// exitCode is the window's own exit code; one that was killed has none.
func exitCode(err error) int {
	var e *exec.ExitError
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &e) && e.ExitCode() >= 0:
		return e.ExitCode()
	}
	ended(err)
	return exitFailed
}

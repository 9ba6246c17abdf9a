package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"
)

// checkTime is how long the display check may take. It takes a tenth of a second on a working computer.
const checkTime = 20 * time.Second

// answerTime is how long the answer of an ended check is waited for, where something that it started holds on to its output.
const answerTime = 2 * time.Second

// launch checks the display, and shows the window unless only the check was asked for.
func launch(f flags) int {
	if !f.check {
		self, err := os.Executable()
		if err != nil {
			tell(fmt.Sprintf("readback: finding the program itself: %v", err))
			return exitFailed
		}
		return start(self, f)
	}
	s := checkAnew()
	if s.Cause != "" {
		tell(s.words())
		return exitNoDisplay
	}
	fmt.Printf("A window can be opened here: OpenGL %s, screen %dx%d, scale %g.\n", s.GL, s.Width, s.Height, s.Scale)
	return exitDone
}

// checkAnew checks the display from another process of this program.
func checkAnew() screen {
	self, err := os.Executable()
	if err != nil {
		return screen{Cause: crashed, Detail: fmt.Sprintf("finding the program itself: %v", err)}
	}
	return check(self)
}

// check asks another process of this program, so that a crash or a hang of the graphics driver is an answer too.
func check(self string) screen {
	ctx, cancel := context.WithTimeout(context.Background(), checkTime)
	defer cancel()
	var out, errs bytes.Buffer
	c := exec.CommandContext(ctx, self)
	c.Env = append(os.Environ(), roleVar+"="+roleCheck)
	c.Stdout, c.Stderr = &out, &errs
	c.WaitDelay = answerTime
	runErr := c.Run()
	if errors.Is(runErr, exec.ErrWaitDelay) {
		runErr = nil // what it started has its output and runs on; the answer is here
	}
	return verdict(ctx.Err() != nil, runErr, out.Bytes(), errs.String())
}

// verdict reads what is left of a display check.
func verdict(timedOut bool, runErr error, out []byte, errs string) screen {
	var s screen
	switch {
	case timedOut:
		return screen{Cause: hung, Detail: lastLine(errs)}
	case json.Unmarshal(out, &s) != nil:
		how := "it ended without an answer"
		if runErr != nil {
			how = runErr.Error()
		}
		return screen{Cause: crashed, Detail: strings.TrimSpace(how + " " + lastLine(errs))}
	case runErr != nil && s.Cause == "":
		return screen{Cause: crashed, Detail: runErr.Error()}
	}
	return s
}

// patiently does something for which the graphics driver may take no longer than checkTime. Then the program ends: the driver
// holds the main thread.
func patiently(do, last func()) {
	slow := time.AfterFunc(checkTime, func() {
		tell(screen{Cause: hung}.words())
		last()
		os.Exit(exitNoDisplay)
	})
	do()
	slow.Stop()
}

func lastLine(s string) string {
	lines := strings.Split(strings.TrimSpace(s), "\n")
	return lines[len(lines)-1]
}

// words tell a person what is in the way of a window, and what does the same job without one.
func (s screen) words() string {
	var what, do string
	switch s.Cause {
	case noDisplay:
		what = "There is no screen that this program could open a window on."
		do = "Start it from a desktop session. In a remote shell, one with a screen of its own is needed."
	case noOpenGL:
		what = "The window needs OpenGL 2.1, and the graphics driver here does not offer it. Virtual machines and remote desktops often don't."
		do = "Install the graphics driver of this computer, or a software one (Mesa), or start it on the computer itself."
	case crashed:
		what = "The graphics driver ended unexpectedly while a window was tried."
		do = "Update the graphics driver, then start again. Nothing was sent to any car."
	case hung:
		what = fmt.Sprintf("The graphics driver did not answer within %.0f seconds.", checkTime.Seconds())
		do = "Start the computer anew, or update its graphics driver. Nothing was sent to any car."
	}
	text := "Readback can't open its window.\n" + what + "\nWhat to do: " + do +
		"\nThe same job without a window: readback-cli look --adapter practice:"
	if s.Detail != "" {
		text += "\nDetail: " + s.Detail
	}
	return text
}

// clamp makes a window fit onto the screen, with room for bars and frames.
func (s screen) clamp(want size) size {
	if s.Scale <= 0 || s.Width <= 0 || s.Height <= 0 {
		return want
	}
	return size{max(least.w, min(want.w, int(float32(s.Width)/s.Scale))), max(least.h, min(want.h, int(float32(s.Height)/s.Scale)-40))}
}

// ended tells a person that the window has ended in a way that nobody asked for.
func ended(how any) {
	tell(fmt.Sprintf("The window ended unexpectedly (%v). Whatever was written into the logbook is kept.", how))
}

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"os"
	"runtime"
	"strings"

	"github.com/go-gl/glfw/v3.3/glfw"
)

// screen is what the display check finds out.
type screen struct {
	GL     string  `json:"gl"` // "4.5"
	Width  int     `json:"width"`
	Height int     `json:"height"` // of the first monitor, in pixels
	Scale  float32 `json:"scale"`
	Cause  cause   `json:"cause,omitempty"`
	Detail string  `json:"detail,omitempty"`
}

// cause is why no window can be opened.
type cause string

const (
	noDisplay cause = "display" // no screen can be reached
	noOpenGL  cause = "opengl"  // the graphics driver has no OpenGL 2.1
	crashed   cause = "crashed" // the driver ended the check
	hung      cause = "hung"    // the driver did not answer in time
)

// answerCheck is the whole life of the checking process: it prints what it found as one line of JSON.
func answerCheck(out io.Writer) int {
	runtime.LockOSThread()
	s := examine()
	if err := json.NewEncoder(out).Encode(s); err != nil {
		fmt.Fprintln(os.Stderr, "readback: display check:", err)
		return exitFailed
	}
	if s.Cause != "" {
		return exitNoDisplay
	}
	return exitDone
}

// examine opens a hidden window with OpenGL 2.1. It must run on the main thread. The binding logs some errors of the
// platform instead of returning them, so the log is part of the answer. The binding stays ready: the window needs it next, and
// finds the driver loaded.
func examine() (s screen) {
	var said bytes.Buffer
	to, how := log.Writer(), log.Flags()
	log.SetOutput(&said)
	log.SetFlags(0)
	defer func() {
		log.SetOutput(to)
		log.SetFlags(how)
	}()
	fail := func(c cause, err error) screen {
		s.Cause, s.Detail = c, strings.TrimSpace(strings.Join([]string{err.Error(), said.String()}, " "))
		return s
	}
	defer func() {
		if r := recover(); r != nil {
			s = fail(noDisplay, fmt.Errorf("%v", r))
		}
	}()
	if err := glfw.Init(); err != nil {
		return fail(noDisplay, err)
	}
	monitors := glfw.GetMonitors()
	if len(monitors) == 0 {
		return fail(noDisplay, errors.New("no monitor is connected"))
	}
	mode := monitors[0].GetVideoMode()
	s.Width, s.Height = mode.Width, mode.Height
	s.Scale, _ = monitors[0].GetContentScale()
	glfw.WindowHint(glfw.Visible, glfw.False)
	glfw.WindowHint(glfw.ContextVersionMajor, 2)
	glfw.WindowHint(glfw.ContextVersionMinor, 1)
	w, err := glfw.CreateWindow(64, 64, "readback", nil, nil)
	glfw.DefaultWindowHints()
	switch {
	case err != nil:
		return fail(noOpenGL, err)
	case w == nil:
		return fail(noOpenGL, errors.New("no window could be made"))
	}
	defer w.Destroy()
	major := w.GetAttrib(glfw.ContextVersionMajor)
	s.GL = fmt.Sprintf("%d.%d", major, w.GetAttrib(glfw.ContextVersionMinor))
	if major < 2 {
		return fail(noOpenGL, fmt.Errorf("OpenGL %s is too old", s.GL))
	}
	return s
}

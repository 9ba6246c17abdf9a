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

// logged does something and returns what was logged meanwhile: the binding and Fyne log some errors of the platform instead of
// returning them.
func logged(do func()) string {
	var said bytes.Buffer
	to, how := log.Writer(), log.Flags()
	log.SetOutput(&said)
	log.SetFlags(0)
	defer func() {
		log.SetOutput(to)
		log.SetFlags(how)
	}()
	do()
	return strings.TrimSpace(said.String())
}

// fail makes a cause with its details of a screen.
func (s screen) fail(c cause, details ...string) screen {
	s.Cause, s.Detail = c, strings.TrimSpace(strings.Join(details, " "))
	return s
}

// reach finds the first monitor. It must run on the main thread. The binding stays ready: the window needs it next.
func reach() (s screen) {
	var err any
	said := logged(func() {
		defer func() {
			if err == nil {
				err = recover()
			}
		}()
		if e := glfw.Init(); e != nil {
			err = e
			return
		}
		monitors := glfw.GetMonitors()
		if len(monitors) == 0 {
			err = errors.New("no monitor is connected")
			return
		}
		mode := monitors[0].GetVideoMode()
		s.Width, s.Height = mode.Width, mode.Height
		s.Scale, _ = monitors[0].GetContentScale()
	})
	if err != nil {
		return s.fail(noDisplay, fmt.Sprint(err), said)
	}
	return s
}

// examine reaches the screen and opens a hidden window with OpenGL 2.1. It must run on the main thread.
func examine() screen {
	s := reach()
	if s.Cause != "" {
		return s
	}
	var w *glfw.Window
	var err error
	said := logged(func() {
		glfw.WindowHint(glfw.Visible, glfw.False)
		glfw.WindowHint(glfw.ContextVersionMajor, 2)
		glfw.WindowHint(glfw.ContextVersionMinor, 1)
		w, err = glfw.CreateWindow(64, 64, "readback", nil, nil)
	})
	switch {
	case err != nil:
		return s.fail(noOpenGL, err.Error(), said)
	case w == nil:
		return s.fail(noOpenGL, "no window could be made", said)
	}
	defer w.Destroy()
	major := w.GetAttrib(glfw.ContextVersionMajor)
	s.GL = fmt.Sprintf("%d.%d", major, w.GetAttrib(glfw.ContextVersionMinor))
	if major < 2 {
		return s.fail(noOpenGL, fmt.Sprintf("OpenGL %s is too old", s.GL))
	}
	return s
}

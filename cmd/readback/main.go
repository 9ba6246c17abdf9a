// Command readback is the window of Readback.
//
// It parses the flags, finds out whether a window can be opened at all, and shows it. A broken graphics driver may take the
// process down: another process of the same program lives on until there is a first picture, and tells what happened. On
// Windows, where nobody sees what a program prints, it is the other way round: the first process finds out by one more process,
// and the window is another; signals and the exit code pass through.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	_ "readback/app/locale"
	_ "readback/app/recall"
)

// Exit codes. They agree with those of readback-cli.
const (
	exitDone      = 0
	exitUse       = 2
	exitFailed    = 3
	exitNoDisplay = 4
)

// roleVar tells a process of this program what it is for; the first one has none.
const (
	roleVar    = "READBACK_ROLE"
	roleCheck  = "check"
	roleGuard  = "guard"
	roleWindow = "window"
)

// flags are what can be said on the command line.
type flags struct {
	place string
	theme string
	size  size // zero when nobody has asked for one
	check bool
}

// wanted is the size that the window should have: the one that was asked for, else the one it was closed with.
func (f flags) wanted() size {
	if f.size != (size{}) {
		return f.size
	}
	if path, err := settingsFile(tasteFile); err == nil {
		if t, err := loadTaste(path); err == nil && t.Width > 0 {
			return size{t.Width, t.Height}
		}
	}
	return ordinary
}

// size is a window's size in units of the screen's scale.
type size struct{ w, h int }

var ordinary = size{1280, 820}

// least is the smallest window that is still of use.
var least = size{760, 480}

// most is the most that a window can be wide or high.
const most = 16384

func (s size) String() string { return fmt.Sprintf("%dx%d", s.w, s.h) }

// Set reads "1280x820".
func (s *size) Set(text string) error {
	a, b, ok := strings.Cut(strings.ToLower(text), "x")
	w, err1 := strconv.Atoi(a)
	h, err2 := strconv.Atoi(b)
	if !ok || err1 != nil || err2 != nil {
		return errors.New("a size is written like 1280x820")
	}
	if w < least.w || h < least.h || w > most || h > most {
		return fmt.Errorf("a size is at least %s", least)
	}
	*s = size{w, h}
	return nil
}

func parse(args []string, out io.Writer) (flags, error) {
	f := flags{theme: os.Getenv("READBACK_THEME")}
	set := flag.NewFlagSet("readback", flag.ContinueOnError)
	set.SetOutput(io.Discard) // an error is told once, by the caller
	set.StringVar(&f.place, "place", "", "connect at once to the adapter at this `PLACE`, such as practice: or serial:/dev/ttyUSB0")
	set.StringVar(&f.theme, "theme", f.theme, "`light` or dark, whatever the system says (also READBACK_THEME)")
	set.Var(&f.size, "size", "`WxH` of the window (1280x820, or as it was closed); it is made smaller where the screen is")
	set.BoolVar(&f.check, "check", false, "say whether a window can be opened here, and end")
	if err := set.Parse(args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			set.SetOutput(out)
			set.PrintDefaults()
		}
		return f, err
	}
	if set.NArg() > 0 {
		return f, fmt.Errorf("%q is not understood; readback -h lists what is", set.Arg(0))
	}
	if f.theme != "" && f.theme != "light" && f.theme != "dark" {
		return f, fmt.Errorf("the theme is light or dark, not %q", f.theme)
	}
	return f, nil
}

func main() { os.Exit(run()) }

func run() int {
	switch os.Getenv(roleVar) {
	case roleCheck:
		return answerCheck(os.Stdout)
	case roleGuard:
		return standGuard(os.Stdin, checkAnew, tell)
	}
	f, err := parse(os.Args[1:], os.Stderr)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		tell(fmt.Sprintf("readback: %v", err))
		return exitUse
	case os.Getenv(roleVar) == roleWindow:
		return showWindow(f, screen{}, func() {})
	}
	return launch(f)
}

package main

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// windowScript is what a person would do at the window, with what must come of it.
type windowScript struct {
	name          string
	width, height int // of the screen
	theme         string
	limit         time.Duration // the longest that it may take; windowLimit where it is 0
	witnessed     bool          // the car is a program of its own, with a witness on its line
	car           string        // the scenario of the practice car, where it is not the usual one
	do            func(ctx context.Context, d *desk) error
	on            seat // how the programs are started; the zero value stands for those of this checkout
	// keep, where there is one, gets a picture of the window with everything that is waited for, once it is at rest.
	keep func(name string, picture image.Image) error
}

// seat is how the programs of a desk are started, where they are not those that were just built here.
type seat struct {
	name             string                   // goes in front of the names of pictures
	window, terminal []string                 // the words that start each of the programs
	env              []string                 // settings for both
	folder           func(home string) string // READBACK_HOME, as the programs write it
	end              func() error             // ends the window
	patience         time.Duration            // how long it may take until the window is there; firstSight where it is 0
}

// firstSight is how long it may take until the window is there.
const firstSight = 30 * time.Second

// windowTests builds Readback and plays every script on a screen of its own.
func windowTests(ctx context.Context, j *job) tally {
	if err := j.build(ctx, nil, "readback"); err != nil {
		return check("building the window", err, "")
	}
	var sum tally
	for _, s := range windowScripts() {
		what := fmt.Sprintf("%s at %dx%d", s.name, s.width, s.height)
		err := j.windowRun(ctx, s)
		fmt.Fprintf(j.log, "%s: %v\n", what, err)
		sum.add(check(what, err, ""))
	}
	return sum
}

// windowLimit is the longest that a script may take.
const windowLimit = 3 * time.Minute

// desk is a screen with the window of Readback on it, and the hands of the person in front.
type desk struct {
	j       *job
	display string // ":97"
	shots   string // where pictures go
	frames  string // a folder in which Xvfb keeps what is on the screen, where one is wanted
	size    string // "1280x820"
	theme   string // light or dark
	home    string // READBACK_HOME, a folder for this run alone
	place   string // of the adapter
	witness *witness
	on      seat
	keep    func(name string, picture image.Image) error
	said    *safeBuffer
	program *os.Process
	ended   chan struct{} // closed when readback has ended
	ending  error         // how it ended; read after ended is closed
}

// windowRun starts a screen and Readback's window on the practice car, plays the script and stops both. Whatever the
// script finds, the run fails on a panic or when something touched the window from a wrong goroutine.
func (j *job) windowRun(ctx context.Context, s windowScript) (err error) {
	limit := cmp.Or(s.limit, windowLimit)
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	d := &desk{j: j, size: fmt.Sprintf("%dx%d", s.width, s.height), theme: s.theme, place: practicePlace, said: &safeBuffer{}, on: s.on, keep: s.keep}
	if d.shots, err = j.folder("shots"); err != nil {
		return err
	}
	if d.home, err = os.MkdirTemp("", "readback-home-"); err != nil {
		return err
	}
	defer os.RemoveAll(d.home)
	if s.car != "" {
		file := filepath.Join(d.home, "car.json")
		if err := os.WriteFile(file, []byte(s.car), 0o600); err != nil {
			return err
		}
		d.place = practicePlace + file
	}
	stopScreen, err := d.startScreen(ctx, limit)
	if err != nil {
		return fmt.Errorf("starting Xvfb: %w", err)
	}
	defer stopScreen()
	if s.witnessed {
		var leave func()
		if d.witness, d.place, leave, err = j.standWitness(ctx); err != nil {
			return err
		}
		defer leave()
	}
	if err := d.startWindow(ctx); err != nil {
		return err
	}
	err = s.do(ctx, d)
	if err != nil {
		if _, e := d.Shot(ctx, s.name+"-failed"); e == nil {
			err = fmt.Errorf("%w; the screen then: %s", err, d.shotPath(s.name+"-failed"))
		}
	}
	err = errors.Join(err, d.stopWindow())
	log := d.said.String()
	fmt.Fprintln(j.log, log)
	return errors.Join(err, complaint(log))
}

// complaint finds in the window's log what must never be there.
func complaint(log string) error {
	for _, bad := range []string{"Error in Fyne call thread", "panic:", "fatal error:", "DATA RACE"} {
		if at := strings.Index(log, bad); at >= 0 {
			return fmt.Errorf("the window's log says:\n%s", lastLines(log[at:min(len(log), at+2000)], 20))
		}
	}
	return nil
}

// startScreen starts Xvfb, which chooses a free display number by itself. -noreset: otherwise it starts anew when its
// last client leaves, and the next client may find no screen. timeout ends it when this program is killed.
func (d *desk) startScreen(ctx context.Context, limit time.Duration) (stop func(), err error) {
	number, tell, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer number.Close()
	var said bytes.Buffer
	words := []string{"--foreground", "-k", "5", limitSeconds(limit), "Xvfb", "-displayfd", "3", "-screen", "0", d.size + "x24", "-noreset", "-nolisten", "tcp"}
	if d.frames != "" {
		words = append(words, "-fbdir", d.frames)
	}
	c := d.j.command(ctx, nil, "timeout", words...)
	c.ExtraFiles = []*os.File{tell}
	c.Stdout, c.Stderr = &said, &said
	err = c.Start()
	if e := tell.Close(); err != nil || e != nil {
		return nil, errors.Join(err, e)
	}
	stop = func() {
		_ = c.Process.Signal(syscall.SIGTERM)
		_ = c.Wait() // it always ends by the signal
	}
	text, err := bufio.NewReader(number).ReadString('\n')
	n, bad := strconv.Atoi(strings.TrimSpace(text))
	if err != nil || bad != nil {
		stop()
		return nil, fmt.Errorf("it told no display number %w\n%s", errors.Join(err, bad), lastLines(said.String(), 5))
	}
	d.display = fmt.Sprintf(":%d", n)
	return stop, nil
}

func limitSeconds(d time.Duration) string { return strconv.Itoa(int(d.Seconds())) }

// startWindow starts Readback.
func (d *desk) startWindow(ctx context.Context) error {
	words := d.on.window
	if len(words) == 0 {
		words = []string{d.j.binary("readback")}
	}
	words = append(slices.Clone(words), "--place", d.place)
	c := d.j.command(ctx, d.environ(), words[0], words[1:]...)
	c.Dir = d.home
	c.Stdout, c.Stderr = d.said, d.said
	if err := c.Start(); err != nil {
		return err
	}
	d.program, d.ended = c.Process, make(chan struct{})
	go func() {
		d.ending = c.Wait()
		close(d.ended)
	}()
	return nil
}

// stopWindow ends Readback, and reports when it had ended before by itself with an error.
func (d *desk) stopWindow() error {
	select {
	case <-d.ended:
		if d.ending != nil {
			return fmt.Errorf("readback ended by itself: %w\n%s", d.ending, lastLines(d.said.String(), 20))
		}
		return nil
	default:
	}
	end := d.on.end
	if end == nil {
		end = func() error { return d.program.Signal(syscall.SIGTERM) }
	}
	if err := end(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	select {
	case <-d.ended:
	case <-time.After(10 * time.Second):
		_ = d.program.Kill()
		<-d.ended
		return errors.New("readback did not end within 10 s of being asked to")
	}
	d.ending = nil // it was asked to
	return nil
}

func (d *desk) environ() []string {
	home := d.home
	if d.on.folder != nil {
		home = d.on.folder(home)
	}
	return append([]string{"DISPLAY=" + d.display, "WAYLAND_DISPLAY=", "LIBGL_ALWAYS_SOFTWARE=1", "LANG=en_GB.UTF-8", "LC_ALL=", "HOME=" + d.home, "READBACK_HOME=" + home, "READBACK_THEME=" + d.theme}, d.on.env...)
}

// xdotool runs one command of xdotool on this screen.
func (d *desk) xdotool(ctx context.Context, words ...string) (string, error) {
	select {
	case <-d.ended:
		return "", fmt.Errorf("readback has ended: %v\n%s", d.ending, lastLines(d.said.String(), 20))
	default:
	}
	return d.j.output(ctx, d.environ(), "xdotool", words...)
}

// Click presses the left button at a point of the screen.
func (d *desk) Click(ctx context.Context, x, y int) error {
	_, err := d.xdotool(ctx, "mousemove", "--sync", strconv.Itoa(x), strconv.Itoa(y), "click", "1")
	return err
}

// Key presses a key or a combination by its X name: "Tab", "Escape", "ctrl+1".
func (d *desk) Key(ctx context.Context, name string) error {
	_, err := d.xdotool(ctx, "key", "--clearmodifiers", name)
	return err
}

// Type types ASCII text.
func (d *desk) Type(ctx context.Context, text string) error {
	_, err := d.xdotool(ctx, "type", "--delay", "20", "--", text)
	return err
}

// Window waits for the window with this title and gives it the keyboard: there is no window manager that would.
func (d *desk) Window(ctx context.Context, title string) error {
	var id string
	err := d.until(ctx, cmp.Or(d.on.patience, firstSight), func() (bool, error) {
		text, err := d.xdotool(ctx, "search", "--onlyvisible", "--name", title)
		select {
		case <-d.ended:
			return false, err
		default: // xdotool fails as long as it finds none
		}
		id, _, _ = strings.Cut(strings.TrimSpace(text), "\n")
		return id != "", nil
	})
	if err != nil {
		return fmt.Errorf("no window %q: %w\n%s", title, err, lastLines(d.said.String(), 20))
	}
	_, err = d.xdotool(ctx, "windowfocus", "--sync", id)
	return err
}

// Hold keeps the left button pressed at a point of the screen.
func (d *desk) Hold(ctx context.Context, p image.Point, long time.Duration) error {
	if _, err := d.xdotool(ctx, "mousemove", "--sync", strconv.Itoa(p.X), strconv.Itoa(p.Y), "mousedown", "1"); err != nil {
		return err
	}
	if err := d.Pause(ctx, long); err != nil {
		return err
	}
	_, err := d.xdotool(ctx, "mouseup", "1")
	return err
}

// Pause lets the window do what it was told.
func (d *desk) Pause(ctx context.Context, long time.Duration) error {
	select {
	case <-time.After(long):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Size is the size of the window with this title.
func (d *desk) Size(ctx context.Context, title string) (width, height int, err error) {
	values, err := d.geometry(ctx, title)
	return values["WIDTH"], values["HEIGHT"], err
}

// geometry is what xdotool tells of a window: X, Y, WIDTH, HEIGHT.
func (d *desk) geometry(ctx context.Context, title string) (map[string]int, error) {
	text, err := d.xdotool(ctx, "search", "--onlyvisible", "--name", title, "getwindowgeometry", "--shell")
	if err != nil {
		return nil, err
	}
	values := map[string]int{}
	for line := range strings.Lines(text) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), "=")
		if n, err := strconv.Atoi(value); err == nil {
			values[name] = n
		}
	}
	return values, nil
}

// Shot takes a picture of the screen. It stays in the folder shots of the cache.
func (d *desk) Shot(ctx context.Context, name string) (image.Image, error) {
	file := d.shotPath(name)
	if _, err := d.j.output(ctx, d.environ(), "import", "-window", "root", file); err != nil {
		return nil, err
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return png.Decode(f)
}

func (d *desk) shotPath(name string) string {
	return filepath.Join(d.shots, d.on.name+name+"-"+d.theme+"-"+d.size+".png")
}

// Until takes pictures until one is as wanted.
func (d *desk) Until(ctx context.Context, name string, limit time.Duration, wanted func(image.Image) bool) error {
	err := d.until(ctx, limit, func() (bool, error) {
		picture, err := d.Shot(ctx, name)
		if err != nil {
			return false, err
		}
		select {
		case <-d.ended:
			return false, fmt.Errorf("readback has ended: %v\n%s", d.ending, lastLines(d.said.String(), 20))
		default:
			return wanted(picture), nil
		}
	})
	if err != nil {
		return fmt.Errorf("waiting for %s: %w", name, err)
	}
	if d.keep == nil {
		return nil
	}
	if err := d.Pause(ctx, 2*time.Second); err != nil {
		return err
	}
	picture, err := d.Shot(ctx, name)
	if err != nil {
		return err
	}
	at, err := d.geometry(ctx, windowTitle)
	if err != nil {
		return err
	}
	window := image.Rect(at["X"], at["Y"], at["X"]+at["WIDTH"], at["Y"]+at["HEIGHT"])
	cut, ok := picture.(interface {
		SubImage(image.Rectangle) image.Image
	})
	if !ok {
		return fmt.Errorf("a picture of a kind that can't be cut: %T", picture)
	}
	return d.keep(name, cut.SubImage(window))
}

// until asks five times a second.
func (d *desk) until(ctx context.Context, limit time.Duration, done func() (bool, error)) error {
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for {
		ok, err := done()
		if ok || err != nil && ctx.Err() == nil {
			return err
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("not within %s", limit)
		case <-tick.C:
		}
	}
}

// safeBuffer is a buffer that a program writes while somebody reads.
type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

package main

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"readback/app"
	"readback/app/look"
	"readback/app/recall"
	"readback/diag/quantity"
)

func TestParse(t *testing.T) {
	t.Setenv("READBACK_THEME", "dark")
	for _, c := range []struct {
		args string
		want flags
		bad  bool
	}{
		{"", flags{theme: "dark"}, false},
		{"--place practice: --theme light --size 1024x700", flags{place: "practice:", theme: "light", size: size{1024, 700}}, false},
		{"--check", flags{theme: "dark", check: true}, false},
		{"--size 1024x700 --theme dark", flags{theme: "dark", size: size{1024, 700}}, false},
		{"--size 1024", flags{}, true}, {"--size 10x10", flags{}, true}, {"--size 99999x900", flags{}, true}, {"--size -1x-1", flags{}, true},
		{"--theme pink", flags{}, true}, {"--nothing", flags{}, true}, {"practice:", flags{}, true},
	} {
		got, err := parse(strings.Fields(c.args), io.Discard)
		if (err != nil) != c.bad {
			t.Errorf("%q: %v", c.args, err)
		}
		if !c.bad && got != c.want {
			t.Errorf("%q: %+v, want %+v", c.args, got, c.want)
		}
	}
}

// TestVerdict: whatever is left of a display check becomes a cause that can be said in words.
func TestVerdict(t *testing.T) {
	ended := errors.New("exit status 4")
	for name, c := range map[string]struct {
		timedOut bool
		err      error
		out      string
		want     cause
	}{
		"works":                   {false, nil, `{"gl":"4.5","width":1280,"height":800,"scale":1}`, ""},
		"no screen":               {false, ended, `{"cause":"display","detail":"x"}`, noDisplay},
		"no OpenGL":               {false, ended, `{"cause":"opengl"}`, noOpenGL},
		"killed by a signal":      {false, errors.New("signal: segmentation fault"), ``, crashed},
		"killed after its answer": {false, errors.New("signal: aborted"), `{"gl":"2.1"}`, crashed},
		"half an answer":          {false, nil, `{"gl":"2.`, crashed},
		"hangs":                   {true, errors.New("signal: killed"), ``, hung},
	} {
		s := verdict(c.timedOut, c.err, []byte(c.out), "first\nlast line\n")
		if s.Cause != c.want {
			t.Errorf("%s: cause %q, want %q", name, s.Cause, c.want)
		}
		if s.Cause == "" {
			continue
		}
		words := s.words()
		if strings.Contains(words, "nil") {
			t.Errorf("%s: %q", name, words)
		}
		for _, part := range []string{"Readback can't open its window.", "What to do: ", "readback-cli look --adapter practice:"} {
			if !strings.Contains(words, part) {
				t.Errorf("%s: %q does not say %q", name, words, part)
			}
		}
		if lines := strings.Split(words, "\n"); len(lines[1]) < 20 || lines[2] == "What to do: " {
			t.Errorf("%s: it says nothing: %q", name, words)
		}
	}
}

func TestCauseIn(t *testing.T) {
	for said, want := range map[string]string{
		"Fyne error:  window creation error\n  Cause: APIUnavailable: GLX: Failed to load GLX\n  At: driver.go:147": "APIUnavailable: GLX: Failed to load GLX",
		"something else": "something else",
		"":               "",
	} {
		if got := causeIn(said); got != want {
			t.Errorf("%q: %q, want %q", said, got, want)
		}
	}
}

// TestWanted: the size that was asked for, else the one that was kept, else the ordinary one.
func TestWanted(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Setenv("HOME", t.TempDir())
	t.Setenv("AppData", t.TempDir())
	if got := (flags{}).wanted(); got != ordinary {
		t.Errorf("nothing kept: %v", got)
	}
	path, err := settingsFile(tasteFile)
	if err != nil {
		t.Fatal(err)
	}
	if err := saveSettings(path, app.Taste{Factor: 1, Width: 1500, Height: 950}); err != nil {
		t.Fatal(err)
	}
	if got := (flags{}).wanted(); got != (size{1500, 950}) {
		t.Errorf("kept 1500x950: %v", got)
	}
	if got := (flags{size: size{1024, 700}}).wanted(); got != (size{1024, 700}) {
		t.Errorf("asked for 1024x700: %v", got)
	}
}

func TestClamp(t *testing.T) {
	for _, c := range []struct {
		screen     screen
		want, give size
	}{
		{screen{Width: 1920, Height: 1080, Scale: 1}, ordinary, ordinary},
		{screen{Width: 1366, Height: 768, Scale: 1}, ordinary, size{1280, 728}},
		{screen{Width: 1024, Height: 600, Scale: 1}, ordinary, size{1024, 560}},
		{screen{Width: 3840, Height: 2160, Scale: 2}, size{4000, 3000}, size{1920, 1040}},
		{screen{Width: 640, Height: 480, Scale: 1}, ordinary, least},
		{screen{}, ordinary, ordinary},
	} {
		if got := c.screen.clamp(c.want); got != c.give {
			t.Errorf("%v on %dx%d at %v: %v, want %v", c.want, c.screen.Width, c.screen.Height, c.screen.Scale, got, c.give)
		}
	}
}

// TestBeforeFyne: what Fyne reads before main is there by then. The order in which packages are made ready is told by the Go
// runtime (package runtime, GODEBUG=inittrace).
func TestBeforeFyne(t *testing.T) {
	c := exec.Command(os.Args[0], "-test.run", "^TestParse$")
	c.Env = []string{"HOME=" + t.TempDir(), "GODEBUG=inittrace=1"}
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for ours, theirs := range map[string]string{"readback/app/locale": "fyne.io/fyne/v2/lang", "readback/app/recall": "fyne.io/fyne/v2/internal/cache"} {
		first, then := strings.Index(string(out), "init "+ours+" @"), strings.Index(string(out), "init "+theirs+" @")
		if first < 0 || then < 0 || first > then {
			t.Errorf("%s at %d, %s at %d of\n%s", ours, first, theirs, then, out)
		}
	}
	if got := os.Getenv(recall.Variable); got != recall.Time {
		t.Errorf("%s is %q", recall.Variable, got)
	}
}

// TestNoLanguage: on a system that names no language none of the processes complains about that.
func TestNoLanguage(t *testing.T) {
	for _, name := range []string{"LANG", "LC_ALL"} {
		c := exec.Command(os.Args[0], "-test.run", "^TestParse$")
		c.Env = []string{"HOME=" + t.TempDir(), name + "=C.UTF-8"}
		out, err := c.CombinedOutput()
		if err != nil || strings.Contains(string(out), "locale") {
			t.Errorf("with %s: %v %s", c.Env, err, out)
		}
	}
}

func TestTasteIsKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback", "window.json")
	if got, err := loadTaste(path); err != nil || got != (app.Taste{Factor: 1}) {
		t.Errorf("nothing kept: %+v, %v", got, err)
	}
	for _, want := range []app.Taste{{Shade: look.ShadeDark, Factor: 1.5, Language: "de", Report: "en"}, {Factor: 1}, {Shade: look.ShadeLight, Factor: 0.8},
		{Factor: 2, Language: "de", Units: quantity.Choice{Way: quantity.Mile, Pressure: quantity.Bar}, Folders: app.Folders{Logbook: "/a", Recordings: "/b", Reports: "/c"}, Width: 1400, Height: 900}} {
		if err := saveSettings(path, want); err != nil {
			t.Fatal(err)
		}
		if got, err := loadTaste(path); err != nil || got != want {
			t.Errorf("kept %+v, got %+v, %v", want, got, err)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*")); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	for _, text := range []string{"", "{", `{"shade":"pink","textSize":99,"width":3,"height":70000,"units":{"way":"ell","temperature":"K"},"folders":{"logbook":"here"}}`, "null"} {
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if got, _ := loadTaste(path); got != (app.Taste{Factor: 1}) {
			t.Errorf("%q gives %+v", text, got)
		}
	}
}

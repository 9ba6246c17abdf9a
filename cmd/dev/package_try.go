package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

func tryLinuxNeeds() []need {
	return append(displayNeeds(), need{what: "dpkg", met: program("dpkg"), packages: each("dpkg", "dpkg", "dpkg")},
		need{what: "tar", met: program("tar"), packages: each("tar", "tar", "tar")})
}

// trial is a folder in which a package is tried.
type trial struct {
	*job
	dir string
}

// startTrial makes the folder; what the programs print goes into the log of that name.
func (p *project) startTrial(name string) (t trial, end func() error, err error) {
	logs, err := p.folder("logs")
	if err != nil {
		return t, nil, err
	}
	dir, err := os.MkdirTemp("", "readback-try-")
	if err != nil {
		return t, nil, err
	}
	log, err := os.Create(filepath.Join(logs, name+".log"))
	if err != nil {
		return t, nil, errors.Join(err, os.RemoveAll(dir))
	}
	return trial{&job{project: p, log: log}, dir}, func() error { return errors.Join(log.Close(), os.RemoveAll(dir)) }, nil
}

func (t trial) tell(text string) { fmt.Fprintln(t.out, "seen working: "+text) }

// tryLinux installs the Debian package into a folder, goes through a visit with it, and removes it; then the same with the
// archive and its own installing script.
func tryLinux(ctx context.Context, p *project, made []product) (err error) {
	t, end, err := p.startTrial("package-linux")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, end()) }()
	for _, m := range made {
		if err := os.WriteFile(filepath.Join(t.dir, m.name), m.content, 0o644); err != nil {
			return err
		}
		switch {
		case strings.HasSuffix(m.name, ".deb"):
			err = t.tryDebian(ctx, filepath.Join(t.dir, m.name))
		case strings.HasSuffix(m.name, ".tar.xz"):
			err = t.tryArchive(ctx, filepath.Join(t.dir, m.name))
		}
		if err != nil {
			return fmt.Errorf("trying %s: %w", m.name, err)
		}
	}
	return nil
}

// tryDebian uses dpkg with a root of its own, which knows what is installed on this computer where that is a Debian.
func (t trial) tryDebian(ctx context.Context, deb string) error {
	root := filepath.Join(t.dir, "root")
	const admin = "var/lib/dpkg"
	for _, dir := range []string{"info", "updates", "triggers"} {
		if err := os.MkdirAll(filepath.Join(root, admin, dir), 0o755); err != nil {
			return err
		}
	}
	words := []string{"dpkg", "--root=" + root, "--log=" + filepath.Join(t.dir, "dpkg.log"), "--force-not-root"}
	status, err := os.ReadFile("/" + admin + "/status")
	if errors.Is(err, fs.ErrNotExist) {
		words = append(words, "--force-depends") // nothing is known of what is here
	} else if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(root, admin, "status"), status, 0o644); err != nil {
		return err
	}
	asRoot, err := asRoot()
	if err != nil {
		return err
	}
	dpkg := func(args ...string) error { return t.privileged(ctx, asRoot, append(slices.Clone(words), args...)) }
	if err := dpkg("--install", deb); err != nil {
		return err
	}
	if err := dpkg("--verify", "readback"); err != nil {
		return err
	}
	bin := filepath.Join(root, "usr", "bin")
	if err := t.visit(ctx, seat{name: "deb-", window: []string{filepath.Join(bin, "readback")}, terminal: []string{filepath.Join(bin, "readback-cli")}}); err != nil {
		return err
	}
	if err := dpkg("--purge", "readback"); err != nil {
		return err
	}
	if err := nothingLeft(root, "var"); err != nil {
		return err
	}
	t.tell("installed with dpkg, a visit in the window and one in the terminal, removed without a trace")
	return nil
}

// tryArchive unpacks the archive and runs its installing script.
func (t trial) tryArchive(ctx context.Context, archive string) error {
	if _, err := t.output(ctx, nil, "tar", "-xf", archive, "-C", t.dir); err != nil {
		return err
	}
	script := filepath.Join(t.dir, strings.TrimSuffix(filepath.Base(archive), ".tar.xz"), "install.sh")
	prefix := filepath.Join(t.dir, "a prefix")
	if _, err := t.output(ctx, []string{"PREFIX=" + prefix}, script); err != nil {
		return err
	}
	terminal := []string{filepath.Join(prefix, "bin", "readback-cli")}
	if err := t.terminalVisit(ctx, terminal, []string{"READBACK_HOME=" + filepath.Join(t.dir, "archive-home")}); err != nil {
		return err
	}
	entry, err := os.ReadFile(filepath.Join(prefix, "share", "applications", "readback.desktop"))
	if err != nil {
		return err
	}
	if want := "\nExec=\"" + filepath.Join(prefix, "bin", "readback") + "\"\n"; !strings.Contains(string(entry), want) {
		return fmt.Errorf("the desktop entry lacks %q:\n%s", want, entry)
	}
	if _, err := t.output(ctx, []string{"PREFIX=" + prefix}, script, "--remove"); err != nil {
		return err
	}
	if err := nothingLeft(prefix); err != nil {
		return err
	}
	t.tell("unpacked, put into a folder by its script, a visit in the terminal, removed without a trace")
	return nil
}

// nothingLeft wants no file below a folder but in those that are named.
func nothingLeft(root string, but ...string) error {
	return filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, file)
		switch {
		case err != nil:
			return err
		case d.IsDir() && slices.Contains(but, rel):
			return filepath.SkipDir
		case !d.IsDir():
			return fmt.Errorf("%s is left behind", rel)
		}
		return nil
	})
}

// tryLimit is the longest that a visit may take: Wine and drawing in software take their time.
const tryLimit = 8 * time.Minute

// visit goes through a visit in the window, by the script of the tests, and one in the terminal. Pictures of the window
// stay in the folder shots of the cache.
func (t trial) visit(ctx context.Context, on seat) error {
	home := filepath.Join(t.dir, "home")
	if on.folder != nil {
		home = on.folder(home)
	}
	if err := t.terminalVisit(ctx, on.terminal, append([]string{"READBACK_HOME=" + home}, on.env...)); err != nil {
		return err
	}
	t.tell("a visit in the terminal")
	if on.end != nil {
		if err := on.end(); err != nil { // what serves programs without a screen can't serve a window
			return err
		}
	}
	script := windowScript{name: "visit", width: 1280, height: 820, theme: "light", limit: tryLimit, do: wholeVisit((*desk).byKeyboard), on: on}
	if err := t.windowRun(ctx, script); err != nil {
		return fmt.Errorf("the visit in the window: %w", err)
	}
	t.tell("a visit in the window; pictures are in " + filepath.Join(t.cache, "shots"))
	return nil
}

// terminalVisit reads the practice car, gets the read-back words, sends once, and wants the logbook and a report to say so.
// words start the terminal program.
func (t trial) terminalVisit(ctx context.Context, words, env []string) error {
	say := func(args ...string) (string, error) {
		text, err := t.output(ctx, env, words[0], append(slices.Clone(words[1:]), args...)...)
		fmt.Fprintf(t.log, "%s\n%s\n", strings.Join(args, " "), text)
		return text, err
	}
	frame := strings.Fields(request)
	var look struct{ Complete bool }
	var read struct{ Words []string }
	var sent struct{ Sent bool }
	text, err := say("--json", "look", "--adapter", practicePlace)
	if err = errors.Join(err, json.Unmarshal([]byte(text), &look)); err != nil || !look.Complete {
		return fmt.Errorf("the practice car was not read: %w\n%s", err, lastLines(text, 5))
	}
	text, err = say(append([]string{"--json", "words"}, frame...)...)
	if err = errors.Join(err, json.Unmarshal([]byte(text), &read)); err != nil || len(read.Words) != 3 || read.Words[0] != word {
		return fmt.Errorf("the read-back words are %q: %w", read.Words, err)
	}
	text, err = say(append([]string{"--json", "send", "--adapter", practicePlace, "--words", strings.Join(read.Words, ","), "--say", "not-charging", "--say", "safety"}, frame...)...)
	var ended *exec.ExitError
	if errors.As(err, &ended) && ended.ExitCode() == 1 {
		err = nil // it was sent, and the program tells so that a code is still there
	}
	if err = errors.Join(err, json.Unmarshal([]byte(text), &sent)); err != nil || !sent.Sent {
		return fmt.Errorf("nothing was sent: %w\n%s", err, lastLines(text, 5))
	}
	text, err = say("--json", "history")
	if err != nil {
		return err
	}
	journal, err := readJournal(text)
	if err = errors.Join(err, oneChange(journal)); err != nil {
		return err
	}
	report := filepath.Join(t.dir, "report.pdf")
	if len(words) > 1 { // under another system's names
		report = wineName(report)
	}
	if _, err := say("report", "1", "--to", report); err != nil {
		return err
	}
	printed, err := os.ReadFile(filepath.Join(t.dir, "report.pdf"))
	if err != nil || !bytes.HasPrefix(printed, []byte("%PDF-")) {
		return fmt.Errorf("the report is no PDF: %w", err)
	}
	return os.Remove(filepath.Join(t.dir, "report.pdf"))
}

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
)

// project is the checkout that the chores work on.
type project struct {
	root  string // the folder of go.mod
	cache string // everything that the chores make goes here
	out   io.Writer
}

// findProject looks for the checkout in the working directory and above it.
func findProject(out io.Writer) (*project, error) {
	dir, err := os.Getwd()
	if err != nil {
		return nil, err
	}
	for start := dir; ; dir = filepath.Dir(dir) {
		text, err := os.ReadFile(filepath.Join(dir, "go.mod"))
		if err == nil && slices.Contains(strings.Fields(string(text)), "readback") {
			break
		}
		if dir == filepath.Dir(dir) {
			return nil, fmt.Errorf("no checkout of Readback in %s or above it", start)
		}
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return nil, fmt.Errorf("finding the user's cache folder: %w", err)
	}
	return &project{root: dir, cache: filepath.Join(cache, "readback"), out: out}, nil
}

// folder makes a folder in the cache and returns its path.
func (p *project) folder(parts ...string) (string, error) {
	dir := filepath.Join(append([]string{p.cache}, parts...)...)
	return dir, os.MkdirAll(dir, 0o755)
}

// goFlags is the one set of flags for every build: another set would build everything once more. Without version
// stamps a checkout that belongs to somebody else builds too.
const goFlags = "-buildvcs=false"

// command prepares a program that is started in the checkout. extra holds settings for its environment, as NAME=value.
// When ctx ends, the program is asked to stop, and made to after five seconds.
func (p *project) command(ctx context.Context, extra []string, name string, args ...string) *exec.Cmd {
	c := exec.CommandContext(ctx, name, args...)
	c.Dir = p.root
	c.Env = append(append(os.Environ(), "GOFLAGS="+goFlags, "GOWORK=off"), extra...)
	c.Cancel = func() error {
		if runtime.GOOS == "windows" {
			return c.Process.Kill()
		}
		return c.Process.Signal(os.Interrupt)
	}
	c.WaitDelay = 5 * time.Second
	return c
}

// sayAgain is how often a person hears that something long goes on.
const sayAgain = 30 * time.Second

// meanwhile does what can take minutes and says now and then that it goes on.
func (p *project) meanwhile(what string, do func() error) error {
	done := make(chan error, 1)
	go func() { done <- do() }()
	begun := time.Now()
	again := time.NewTicker(sayAgain)
	defer again.Stop()
	for {
		select {
		case err := <-done:
			return err
		case <-again.C:
			fmt.Fprintf(p.out, "Still %s, for %s so far.\n", what, time.Since(begun).Round(time.Second))
		}
	}
}

// output runs a command and returns what it printed on standard output. The error holds the end of what it said.
func (p *project) output(ctx context.Context, extra []string, name string, args ...string) (string, error) {
	c := p.command(ctx, extra, name, args...)
	text, err := c.Output()
	if err == nil {
		return string(text), nil
	}
	said := ""
	var failed *exec.ExitError
	if errors.As(err, &failed) {
		said = lastLines(string(failed.Stderr), 5)
	}
	return string(text), fmt.Errorf("%s: %w %s", strings.Join(append([]string{name}, args...), " "), err, said)
}

// lastLines is the end of a text, without the empty lines after it.
func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimRight(text, "\r\n "), "\n")
	if len(lines) > n {
		lines = lines[len(lines)-n:]
	}
	return strings.Join(lines, "\n")
}

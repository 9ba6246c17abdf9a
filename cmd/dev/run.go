package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
)

// exitNoDisplay is readback's exit code when its display check finds no screen that it could draw on.
const exitNoDisplay = 4

const practicePlace = "practice:"

// startReadback builds Readback and starts it on the practice car, in the terminal where there is no display.
func startReadback(ctx context.Context, p *project, args []string) error {
	if len(args) > 0 && args[0] != "--" {
		return &exit{exitUsage, fmt.Sprintf("run knows no %q; what is meant for readback goes behind --", args[0])}
	}
	if len(args) > 0 {
		args = args[1:]
	}
	if !displayNamed() {
		return p.lookInTerminal(ctx, args)
	}
	if err := p.install(ctx, windowNeeds()); err != nil {
		return err
	}
	fmt.Fprintln(p.out, "Building the window. The first time this takes some minutes.")
	building := func() error { return p.build(ctx, nil, "readback", "readback-cli") }
	if err := p.meanwhile("building", building); err != nil {
		return err
	}
	if len(args) == 0 {
		args = []string{"--place", practicePlace}
	}
	err := p.start(ctx, "readback", args)
	if err != nil && !p.canDraw(ctx) {
		return p.lookInTerminal(ctx, args)
	}
	return err
}

// canDraw asks readback whether it can draw here, after it has failed.
func (p *project) canDraw(ctx context.Context) bool {
	var ended *exec.ExitError
	return !errors.As(p.command(ctx, nil, p.binary("readback"), "--check").Run(), &ended) || ended.ExitCode() != exitNoDisplay
}

// displayNamed reports whether there may be a screen; readback itself checks whether it can draw on it.
func displayNamed() bool {
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		return true
	}
	return os.Getenv("DISPLAY") != "" || os.Getenv("WAYLAND_DISPLAY") != ""
}

// lookInTerminal does the window's first job, reading the car, in the terminal. It needs no C compiler.
func (p *project) lookInTerminal(ctx context.Context, args []string) error {
	fmt.Fprint(p.out, "There is no display to draw on, so the car is read here in the terminal.\n"+
		"To see the window, run the same command on a desktop, or through `ssh -X` from one.\n"+
		"Building readback-cli. The first time this takes a minute or two.\n")
	building := func() error { return p.build(ctx, []string{"CGO_ENABLED=0"}, "readback-cli") }
	if err := p.meanwhile("building", building); err != nil {
		return err
	}
	return p.start(ctx, "readback-cli", []string{"look", "--adapter", placeIn(args)})
}

// placeIn finds the place among arguments that were meant for the window.
func placeIn(args []string) string {
	for i, a := range args {
		if value, ok := strings.CutPrefix(a, "--place="); ok {
			return value
		}
		if a == "--place" && i+1 < len(args) {
			return args[i+1]
		}
	}
	return practicePlace
}

// build puts programs of this checkout into the cache.
func (p *project) build(ctx context.Context, extra []string, programs ...string) error {
	dir, err := p.folder("bin")
	if err != nil {
		return err
	}
	words := []string{"build", "-o", dir + string(filepath.Separator)}
	for _, name := range programs {
		words = append(words, "./cmd/"+name)
	}
	if text, err := p.command(ctx, extra, "go", words...).CombinedOutput(); err != nil {
		return fmt.Errorf("building %s: %w\n%s", strings.Join(programs, " and "), err, lastLines(string(text), 40))
	}
	return nil
}

// binary is where build puts a program.
func (p *project) binary(name string) string {
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	return filepath.Join(p.cache, "bin", name)
}

// start runs a built program with this terminal. Its exit code becomes ours.
func (p *project) start(ctx context.Context, name string, args []string) error {
	fmt.Fprintf(p.out, "Starting %s\n", strings.Join(append([]string{name}, args...), " "))
	c := p.command(ctx, nil, p.binary(name), slices.Clone(args)...)
	c.Stdin, c.Stdout, c.Stderr = os.Stdin, os.Stdout, os.Stderr
	err := c.Run()
	var ended *exec.ExitError
	if errors.As(err, &ended) && ended.ExitCode() > 0 {
		return &exit{code: ended.ExitCode()}
	}
	return err
}

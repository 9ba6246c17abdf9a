// Command dev does the project's chores: it installs what is missing, builds, starts and tests Readback.
//
//	go run ./cmd/dev run  [-- ARGUMENTS]     build Readback and start it on the practice car
//	go run ./cmd/dev test [--only STEP,...]  run every check there is
//	go run ./cmd/dev lab  [PACKAGE...]       run the kernel tests in a virtual machine
//	go run ./cmd/dev storm [--for DURATION]  throw clicks and keys at the window
//	go run ./cmd/dev soak [--for DURATION]   look whether the window grows on a full bus
//	go run ./cmd/dev bench [--to FILE]       measure, and compare with what is possible
//	go run ./cmd/dev package linux|windows   make what people get: archives, a Debian package
//	go run ./cmd/dev shots                   take the README's pictures of the real window
//	go run ./cmd/dev licences                write assets/licences.txt anew, after a change of go.mod
//
// It needs Go and nothing else; whatever else is needed it installs or asks for. But for that list and the pictures
// nothing is written into the checkout: programs, the kernel, logs and pictures go to the folder readback of the user's
// cache folder.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
)

// chore is one thing that dev can do.
type chore struct {
	name  string
	usage string
	about string
	do    func(ctx context.Context, p *project, args []string) error
}

func chores() []chore {
	return []chore{
		{"run", "run [-- ARGUMENTS]", "build Readback and start it on the practice car", startReadback},
		{"test", "test [--only STEP,...] [--fuzz DURATION]", "run every check there is", testAll},
		{"lab", "lab [PACKAGE...]", "run the kernel tests in a virtual machine", labChore},
		{"storm", "storm [--for DURATION] [--seed NUMBER]", "throw clicks and keys at the window", stormChore},
		{"soak", "soak [--for DURATION]", "look whether the window grows on a full bus", soakChore},
		{"bench", "bench [--runs NUMBER] [--only TEXT] [--to FILE]", "measure, and compare with what is possible", benchAll},
		{"package", "package linux|windows [--to FOLDER] [--twice] [--try]", "make what people get, with SHA-256 and a list of parts", packageChore},
		{"shots", "shots [--to FOLDER]", "take the README's pictures of the real window", shotsChore},
		{"licences", "licences", "write " + licenceFile + " anew, after a change of go.mod", licencesChore},
	}
}

// The exit codes of dev. A started program's own code is passed on.
const (
	exitFailed = 1 // a check failed
	exitUsage  = 2 // wrong use, or something must be installed by hand first
)

// exit is an error that chooses the exit code. An empty text has been told already.
type exit struct {
	code int
	text string
}

func (e *exit) Error() string { return e.text }

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := dispatch(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

func dispatch(ctx context.Context, args []string, out, errs io.Writer) int {
	err := perform(ctx, args, out)
	var chosen *exit
	switch {
	case err == nil:
		return 0
	case errors.As(err, &chosen):
		if chosen.text != "" {
			fmt.Fprintln(errs, "dev: "+chosen.text)
		}
		return chosen.code
	}
	fmt.Fprintln(errs, "dev: "+err.Error())
	return exitFailed
}

func perform(ctx context.Context, args []string, out io.Writer) error {
	if len(args) == 0 {
		return &exit{exitUsage, "what shall be done?\n" + usage()}
	}
	for _, c := range chores() {
		if c.name != args[0] {
			continue
		}
		p, err := findProject(out)
		if err != nil {
			return err
		}
		return c.do(ctx, p, args[1:])
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		fmt.Fprintln(out, usage())
		return nil
	}
	return &exit{exitUsage, fmt.Sprintf("%q is not one of the chores\n%s", args[0], usage())}
}

func usage() string {
	var b strings.Builder
	b.WriteString("use: go run ./cmd/dev CHORE")
	for _, c := range chores() {
		fmt.Fprintf(&b, "\n  %-60s %s", c.usage, c.about)
	}
	return b.String()
}

// Command readback-cli does the whole job of Readback in a terminal: it explains requests, reads cars, sends one
// request through the gate, and keeps the logbook. The window runs on the same engine.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"strings"
	"syscall"
	"time"

	"github.com/alecthomas/kong"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/all"
	"readback/diag/garage"
	"readback/diag/tongue"
)

// Exit codes of the terminal contract.
const (
	exitDone   = 0
	exitNo     = 1 // the answer is "no": refused, not well formed, the code is still there
	exitUse    = 2 // wrong use
	exitFailed = 3 // the adapter or the car failed
)

type commands struct {
	JSON bool `name:"json" help:"Print one JSON document."`

	Explain  explainCmd  `cmd:"" help:"Explain a typed or pasted frame, request or answer, byte by byte."`
	Words    wordsCmd    `cmd:"" help:"Show the three read-back words of a request."`
	Compare  compareCmd  `cmd:"" help:"Put two frames side by side."`
	Code     codeCmd     `cmd:"" help:"Say what trouble codes mean."`
	Vin      vinCmd      `cmd:"" help:"Check a vehicle identification number."`
	Cable    cableCmd    `cmd:"" help:"Say what meter readings on a cable, an adapter or a socket mean."`
	Adapters adaptersCmd `cmd:"" help:"List what is plugged in."`
	Look     lookCmd     `cmd:"" help:"Read a car and save the visit."`
	Send     sendCmd     `cmd:"" help:"Send one request through the gate, once, and read back."`
	Watch    watchCmd    `cmd:"" help:"Show live values as they come."`
	History  historyCmd  `cmd:"" help:"Show the logbook."`
	Report   reportCmd   `cmd:"" help:"Write the report of a visit, for a workshop or to be shared."`
	Frames   framesCmd   `cmd:"" help:"Explain a recorded conversation."`
	Cards    cardsCmd    `cmd:"" help:"Show, take over and hand on the request cards of a car."`
	Backup   backupCmd   `cmd:"" help:"Write the whole logbook into one file."`
	Restore  restoreCmd  `cmd:"" help:"Put a back-up in the place of the logbook; the old one is kept aside."`
	Export   exportCmd   `cmd:"" help:"Write one car with all its visits into one file."`
	Import   importCmd   `cmd:"" help:"Take a car from such a file."`
	Rescue   rescueCmd   `cmd:"" help:"Save what can be read of a damaged logbook."`
	Practice practiceCmd `cmd:"" help:"Run the practice car as a device of its own."`
}

// env is what every command works with.
type env struct {
	ctx     context.Context
	in      io.Reader
	out     io.Writer
	err     io.Writer
	json    bool
	drivers []adapter.Driver
}

// errNo is the answer "no": it has been printed already.
var errNo = errors.New("no")

// usage is a mistake in the use of a command.
type usage struct{ text string }

func (u usage) Error() string { return u.text }

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the whole program; it returns the exit code.
func run(ctx context.Context, args []string, in io.Reader, out, errw io.Writer) int {
	var (
		c      commands
		helped bool
	)
	k, err := kong.New(&c, kong.Name("readback-cli"), kong.Writers(out, errw), kong.Exit(func(int) { helped = true }),
		kong.Description("Read a car, explain a request, pass the gate, send it once, read back."), kong.UsageOnError(), kong.Vars{"languages": strings.Join(tongue.Tags(), " or ")})
	if err != nil {
		fmt.Fprintln(errw, "readback-cli:", err)
		return exitUse
	}
	chosen, err := k.Parse(args)
	if helped {
		return exitDone
	}
	if err != nil {
		fmt.Fprintln(errw, "readback-cli:", err)
		return exitUse
	}
	e := &env{ctx: ctx, in: in, out: out, err: errw, json: c.JSON, drivers: all.Drivers()}
	return e.exit(chosen.Run(e))
}

// exit turns the error of a command into words and an exit code.
func (e *env) exit(err error) int {
	var u usage
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errNo):
		return exitNo
	case errors.As(err, &u):
		fmt.Fprintln(e.err, "readback-cli:", u.text)
		return exitUse
	case errors.Is(err, adapter.ErrUnknownPlace), errors.Is(err, diag.ErrCalendar):
		fmt.Fprintln(e.err, diag.Sentence(err))
		return exitUse
	}
	fmt.Fprintln(e.err, diag.Sentence(err))
	if t, ok := diag.TroubleOf(err); ok {
		for i, cause := range t.Causes {
			fmt.Fprintf(e.err, "  %d. %s\n", i+1, cause)
		}
		fmt.Fprintln(e.err, "Next: "+t.NextOn(runtime.GOOS))
		fmt.Fprintln(e.err, "  rests on:", t.RestsOn())
	}
	fmt.Fprintln(e.err, "  detail:", err)
	return exitFailed
}

// printJSON writes the one document of a command.
func (e *env) printJSON(v any) error {
	enc := json.NewEncoder(e.out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// store opens the logbook.
func (e *env) store() (*garage.Store, error) {
	path, err := garage.DefaultPath()
	if err != nil {
		return nil, err
	}
	return garage.Open(e.ctx, path)
}

// visit opens the logbook and the adapter; the caller runs the returned function at the end.
func (e *env) visit(place string, ahead time.Duration) (*diag.Visit, func(), error) {
	s, err := e.store()
	if err != nil {
		return nil, nil, err
	}
	v, err := diag.Open(e.ctx, diag.Options{Place: adapter.Place(place), Drivers: e.drivers, Store: s, Ahead: ahead})
	if err != nil {
		return nil, nil, errors.Join(err, s.Close())
	}
	e.tellOpen(v)
	return v, func() {
		// The work is done and saved by now; a failure to close concerns the adapter alone.
		if err := errors.Join(v.Close(), s.Close()); err != nil {
			fmt.Fprintln(e.err, "closing:", err)
		}
	}, nil
}

// tellOpen reminds of requests whose answer nobody knows.
func (e *env) tellOpen(v *diag.Visit) {
	open, err := v.OpenQuestions(e.ctx)
	if err != nil {
		fmt.Fprintln(e.err, diag.Sentence(err))
		return
	}
	for _, q := range open {
		fmt.Fprintf(e.err, "NOTICE  On %s the request %s was sent and its answer is not known. Read the car again: readback-cli look --adapter %s\n",
			q.Begun.Local().Format("2 January 15:04"), q.Request, q.Place)
	}
}

package elm

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"readback/diag/adapter"
	"readback/diag/link"
)

const (
	// interrupt stops what the adapter does; when it is idle already, a space means nothing to it.
	interrupt = " "
	// commandTime is how long a setting may take (from memory: 10-50 ms on a cable, up to 1 s over a radio link).
	commandTime = 2 * time.Second
	// stopTime is how long the adapter may take to show its prompt after interrupt.
	stopTime = 2 * time.Second
	// writeTime is how long a line may take to leave, where the port can tell.
	writeTime = 2 * time.Second

	longestLine = 4096 // letters; the rest of a longer one is dropped
	eventDepth  = 1024
	// mostLines and talkTimes, as many times as the patience with one line, are the most that an answer of the adapter itself
	// may have, babbleTime the most that is waited for a pause (own choice: the longest search takes a third of it).
	mostLines  = 1024
	talkTimes  = 3
	babbleTime = 5 * time.Second
)

// errSilent: the adapter showed no prompt in time.
var errSilent = errors.New("elm: the adapter does not answer")

// errEndless: it can't show one, for it does not stop talking.
var errEndless = fmt.Errorf("%w: what comes from it has no end", errSilent)

// errNoPrompt: not even after it was interrupted.
var errNoPrompt = fmt.Errorf("%w: no prompt within %v", link.ErrGone, stopTime)

// errNeverReady: it says something and shows no prompt.
var errNeverReady = fmt.Errorf("%w: it answers, but never shows that it is ready", adapter.ErrUnfit)

// event is a line, or the prompt.
type event struct {
	line   string
	prompt bool
	at     time.Time
}

// wire is the serial line. One goroutine reads it; whoever owns the wire sends one line at a time.
type wire struct {
	port   io.ReadWriteCloser
	events chan event // closed when the port is gone or closed
	ctx    context.Context
	cancel context.CancelFunc
	done   chan struct{}
	once   sync.Once
	err    error // why reading ended; read it after events is closed
	closed error
}

func newWire(port io.ReadWriteCloser) *wire {
	ctx, cancel := context.WithCancel(context.Background())
	w := &wire{port: port, events: make(chan event, eventDepth), ctx: ctx, cancel: cancel, done: make(chan struct{})}
	go w.read()
	return w
}

// read cuts what arrives into lines and prompts. It drops line feeds, NULs (p. 8) and all that is not ASCII text.
func (w *wire) read() {
	defer close(w.done)
	defer close(w.events)
	var line []byte
	put := func(e event) bool {
		e.at = time.Now()
		select {
		case w.events <- e:
			return true
		case <-w.ctx.Done():
			return false
		}
	}
	flush := func() bool {
		text := strings.TrimSpace(string(line))
		line = line[:0]
		return text == "" || put(event{line: text})
	}
	buf := make([]byte, 512)
	for {
		n, err := w.port.Read(buf)
		for _, b := range buf[:n] {
			ok := true
			switch {
			case b == '\r' || b == '\n':
				ok = flush()
			case b == '>':
				ok = flush() && put(event{prompt: true})
			case b >= ' ' && b < 0x7F && len(line) < longestLine:
				line = append(line, b)
			}
			if !ok {
				return
			}
		}
		if err != nil {
			w.err = err // a torn line is dropped: nobody knows what it would have said
			return
		}
	}
}

// gone is the error after events has been closed.
func (w *wire) gone() error {
	<-w.done
	switch {
	case w.ctx.Err() != nil:
		return link.ErrClosed
	case w.err != nil:
		return fmt.Errorf("%w: %w", link.ErrGone, w.err)
	}
	return link.ErrGone
}

// write sends text as it is.
func (w *wire) write(text string) error {
	if d, ok := w.port.(interface{ SetWriteDeadline(time.Time) error }); ok {
		_ = d.SetWriteDeadline(time.Now().Add(writeTime)) // a port without deadlines just has none
	}
	if _, err := io.WriteString(w.port, text); err != nil {
		if w.ctx.Err() != nil {
			return link.ErrClosed
		}
		return fmt.Errorf("%w: %w", link.ErrGone, err)
	}
	return nil
}

// ask sends a request. An adapter that is still at work, in spite of its prompt, is stopped by the first character and drops
// it: a digit lost there would leave another request, 2F 19 of 22 F1 90. So the first one is a blank, which means nothing.
func (w *wire) ask(digits string) error { return w.write(interrupt + digits + "\r") }

// drain forgets what has arrived since the last prompt and returns its lines.
func (w *wire) drain() (lines []string) {
	for {
		select {
		case e, ok := <-w.events:
			if !ok {
				return lines
			}
			if !e.prompt {
				lines = append(lines, e.line)
			}
		default:
			return lines
		}
	}
}

// next waits for one event.
func (w *wire) next(ctx context.Context, d time.Duration) (event, error) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case e, ok := <-w.events:
		if !ok {
			return event{}, w.gone()
		}
		return e, nil
	case <-t.C:
		return event{}, errSilent
	case <-ctx.Done():
		return event{}, ctx.Err()
	}
}

// command sends one line and returns the adapter's lines up to its prompt, without an echo. patience runs anew with
// every line, a few times. When ctx ends the adapter is stopped first.
func (w *wire) command(ctx context.Context, line string, patience time.Duration) ([]string, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	w.drain()
	if err := w.write(line + "\r"); err != nil {
		return nil, err
	}
	lines, err := w.rest(ctx, patience)
	if len(lines) > 0 && isEcho(lines[0], line) {
		lines = lines[1:]
	}
	return lines, err
}

// rest are the adapter's lines up to its prompt. When ctx ends the adapter is stopped first.
func (w *wire) rest(ctx context.Context, patience time.Duration) (lines []string, err error) {
	end := time.Now().Add(talkTimes * patience)
	for len(lines) < mostLines && time.Now().Before(end) {
		e, err := w.next(ctx, patience)
		switch {
		case err != nil && ctx.Err() != nil:
			if e := w.stop(); e != nil {
				return lines, e
			}
			return lines, ctx.Err()
		case err != nil:
			return lines, err
		case e.prompt:
			return lines, nil
		default:
			lines = append(lines, e.line)
		}
	}
	return lines, errEndless
}

// stop interrupts the adapter and waits for its prompt. An adapter that shows none is taken for gone: a radio link that
// has broken down says nothing else.
func (w *wire) stop() error {
	if err := w.write(interrupt); err != nil {
		return err
	}
	end := time.Now().Add(stopTime)
	for {
		e, err := w.next(w.ctx, time.Until(end))
		switch {
		case errors.Is(err, errSilent):
			return errNoPrompt
		case errors.Is(err, context.Canceled):
			return link.ErrClosed
		case err != nil:
			return err
		case e.prompt:
			return nil
		}
	}
}

// quiet reads until nothing has arrived for d.
func (w *wire) quiet(ctx context.Context, d time.Duration) error {
	for end := time.Now().Add(babbleTime); time.Now().Before(end); {
		switch _, err := w.next(ctx, d); {
		case errors.Is(err, errSilent):
			return nil
		case err != nil:
			return err
		}
	}
	return errEndless
}

func isEcho(line, sent string) bool { return squeeze(line) == squeeze(sent) }

// squeeze is a line without spaces, in capitals.
func squeeze(s string) string { return strings.ToUpper(strings.ReplaceAll(s, " ", "")) }

// close ends reading. It may be called more than once.
func (w *wire) close() error {
	w.once.Do(func() {
		w.cancel()
		w.closed = w.port.Close()
	})
	<-w.done
	return w.closed
}

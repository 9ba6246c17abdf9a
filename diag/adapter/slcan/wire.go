package slcan

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"readback/diag/bus"
)

const (
	// answerTime is how long a command may take; a USB line takes some milliseconds, a radio link up to 100 (common
	// practice).
	answerTime = 250 * time.Millisecond
	// leaveTime is how long the last line may take to leave when the port is closed.
	leaveTime = 200 * time.Millisecond
	// longestLine is more than a frame with a stamp (31 characters) and more than any version text seen.
	longestLine = 128
	bell        = '\a'
)

// answer is what came for a command.
type answer struct {
	text    string // without the carriage return
	refused bool   // a bell
}

// errQuiet: no answer in time.
var errQuiet = errors.New("slcan: no answer in time")

// wire is the serial line. One goroutine reads it and one writes it; one command at a time waits for its answer.
type wire struct {
	port   io.ReadWriteCloser
	line   func(text string, torn bool) // told of every line that is no answer, by the reading goroutine
	writes chan string
	turn   chan struct{} // holds a token while a command is under way
	done   chan struct{} // closed by close
	gone   chan struct{} // closed when the port has vanished
	owned  sync.WaitGroup
	shut   func(polite bool) error
	lose   func(error)

	mu      sync.Mutex
	pending *pending
	cause   error // why the port has gone
	prompts bool  // an ELM-style prompt was seen
	blank   bool  // an empty line was seen
}

// pending is a command that waits.
type pending struct {
	letter byte        // of the answer
	come   chan answer // holds one
}

func newWire(port io.ReadWriteCloser, line func(text string, torn bool)) *wire {
	w := &wire{port: port, line: line, writes: make(chan string), turn: make(chan struct{}, 1),
		done: make(chan struct{}), gone: make(chan struct{})}
	var once sync.Once
	w.lose = func(err error) {
		once.Do(func() {
			w.mu.Lock()
			w.cause = err
			w.mu.Unlock()
			close(w.gone)
		})
	}
	var (
		ending sync.Once
		closed error
	)
	w.shut = func(polite bool) error {
		ending.Do(func() { closed = w.leave(polite) })
		return closed
	}
	w.owned.Go(w.read)
	w.owned.Go(w.write)
	return w
}

// read cuts what arrives into lines and bells. What is not ASCII text is dropped, and its line is torn.
func (w *wire) read() {
	var (
		line []byte
		torn bool
		buf  [512]byte
	)
	for {
		n, err := w.port.Read(buf[:])
		for _, b := range buf[:n] {
			switch {
			case b == '\r':
				w.take(string(line), torn)
				line, torn = line[:0], false
			case b == bell:
				if len(line) > 0 {
					w.take(string(line), true)
				}
				line, torn = line[:0], false
				w.reply(answer{refused: true})
			case b == '>':
				w.mu.Lock()
				w.prompts = true
				w.mu.Unlock()
			case b == '\n', b == 0:
			case b < ' ' || b > '~' || len(line) == longestLine:
				torn = true
			default:
				line = append(line, b)
			}
		}
		if err != nil {
			w.lose(err)
			return
		}
	}
}

// take sorts a line into answers and events.
func (w *wire) take(line string, torn bool) {
	if !torn {
		switch {
		case line == "" || line == "z" || line == "Z":
			w.reply(answer{text: line})
			return
		case line[0] == 'V' || line[0] == 'N' || line[0] == 'F' && len(line) == 3: // F is also a hex digit of half a line
			w.reply(answer{text: line})
			return
		}
	}
	w.line(line, torn)
}

// reply hands an answer to the command that waits for it. One that nobody waits for is forgotten, but for a bell: it says
// that something did not leave.
func (w *wire) reply(a answer) {
	w.mu.Lock()
	p := w.pending
	w.blank = w.blank || !a.refused && a.text == ""
	fits := p != nil && (a.refused || p.fits(a.text))
	if fits {
		w.pending = nil
		p.come <- a
	}
	w.mu.Unlock()
	if p == nil && a.refused {
		w.line("", true)
	}
}

// fits reports whether a line answers the command. What is asked for a text is not answered by an empty line, nor by the
// letter alone: that is the echo of an ELM-style adapter.
func (p *pending) fits(text string) bool {
	switch p.letter {
	case 'V', 'N', 'F':
		return len(text) > 1 && text[0] == p.letter
	case 'z':
		return text == "" || text == "z" || text == "Z"
	}
	return text == ""
}

// write owns the sending half, so that a port that takes nothing holds up nobody whose context ends.
func (w *wire) write() {
	for {
		select {
		case <-w.done:
			return
		case <-w.gone:
			return
		case s := <-w.writes:
			if _, err := io.WriteString(w.port, s); err != nil {
				w.lose(err)
				return
			}
		}
	}
}

// ended is the error once the port is closed or has vanished, nil before.
func (w *wire) ended() error {
	select {
	case <-w.done:
		return bus.ErrClosed
	default:
	}
	select {
	case <-w.gone:
		w.mu.Lock()
		defer w.mu.Unlock()
		return fmt.Errorf("%w: %w", bus.ErrGone, w.cause)
	default:
		return nil
	}
}

// put hands a line to the sending half.
func (w *wire) put(ctx context.Context, line string) error {
	if err := w.ended(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case w.writes <- line:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-w.done:
	case <-w.gone:
	}
	return w.ended()
}

// hold waits for the turn of a command; release gives it back.
func (w *wire) hold(ctx context.Context) error {
	select {
	case w.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-w.done:
	case <-w.gone:
	}
	return w.ended()
}

func (w *wire) release() { <-w.turn }

// command sends one line, once, and waits for its answer: V, N and F ask for a line that begins so; a frame, for which
// letter is z, for that letter or an empty line; all others for an empty line. A bell is [ErrRefused]. Without an answer the error is errQuiet; the line has left then.
func (w *wire) command(ctx context.Context, line string, letter byte) (string, error) {
	if err := w.hold(ctx); err != nil {
		return "", err
	}
	defer w.release()
	return w.ask(ctx, line, letter)
}

// ask is command for who holds the turn.
func (w *wire) ask(ctx context.Context, line string, letter byte) (string, error) {
	p := &pending{letter: letter, come: make(chan answer, 1)}
	w.wait(p)
	defer w.wait(nil)
	if err := w.put(ctx, line); err != nil {
		return "", err
	}
	t := time.NewTimer(answerTime)
	defer t.Stop()
	select {
	case a := <-p.come:
		if a.refused {
			return "", ErrRefused
		}
		return a.text, nil
	case <-t.C:
		return "", errQuiet
	case <-ctx.Done():
		return "", ctx.Err()
	case <-w.done:
	case <-w.gone:
	}
	return "", w.ended()
}

func (w *wire) wait(p *pending) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.pending = p
}

// blanked reports whether an empty line has been seen.
func (w *wire) blanked() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.blank
}

// prompted reports whether an ELM-style prompt has been seen.
func (w *wire) prompted() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.prompts
}

// close takes the adapter off the bus, closes the port and ends both goroutines. It may be called more than once.
func (w *wire) close() error { return w.shut(true) }

// drop closes the port and leaves the adapter as it is.
func (w *wire) drop() error { return w.shut(false) }

func (w *wire) leave(polite bool) error {
	// The channel is closed at the adapter too: else it goes on acknowledging the car's frames.
	ctx, cancel := context.WithTimeout(context.Background(), leaveTime)
	if polite && w.ended() == nil && !w.prompted() {
		_, _ = w.command(ctx, "C\r", 'C') // an adapter that does not take it is left by closing the port
	}
	cancel()
	close(w.done)
	err := w.port.Close()
	w.owned.Wait()
	select {
	case <-w.gone:
		if w.ended() != nil && err != nil {
			return nil // a port that has vanished can't be closed
		}
	default:
	}
	return err
}

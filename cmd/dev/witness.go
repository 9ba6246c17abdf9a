package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"
	"sync"
)

// witness stands on the line between the window and the practice car, and keeps every frame that goes to the car. It
// reads the letters of the line by itself: t or T, the identifier, the length, the data.
type witness struct {
	mu     sync.Mutex
	frames []string // as the read-back words count them: 7E5#0414FFFFFF555555
}

// questions are the services that only ask, by their request byte: SAE J1979 (01-03, 05-07, 09, 0A), ISO 14229-1 (19, 22,
// 24, 3E, and 10 for the default and extended sessions), ISO 14230-3 (12, 13, 17, 18, 1A, 21).
var questions = []byte{0x01, 0x02, 0x03, 0x05, 0x06, 0x07, 0x09, 0x0A, 0x10, 0x12, 0x13, 0x17, 0x18, 0x19, 0x1A, 0x21, 0x22, 0x24, 0x3E}

// standWitness starts the practice car as a program of its own and stands on its line. place is where the window finds it.
func (j *job) standWitness(ctx context.Context) (w *witness, place string, stop func(), err error) {
	if err := j.build(ctx, nil, "readback-cli"); err != nil {
		return nil, "", nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	c := j.command(ctx, nil, j.binary("readback-cli"), "--json", "practice", "--serve", "slcan:tcp:0")
	out, err := c.StdoutPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		cancel()
		return nil, "", nil, fmt.Errorf("starting the practice car: %w", err)
	}
	var said struct{ Place string }
	err = json.NewDecoder(out).Decode(&said)
	car, isCar := strings.CutPrefix(said.Place, "slcan:tcp:")
	var ln net.Listener
	if err == nil && isCar {
		ln, err = new(net.ListenConfig).Listen(ctx, "tcp", "127.0.0.1:0")
	}
	if err != nil || !isCar {
		cancel()
		_ = c.Wait()
		return nil, "", nil, fmt.Errorf("the practice car says %q: %w", said.Place, err)
	}
	w = &witness{}
	var all sync.WaitGroup
	all.Go(func() { w.serve(ctx, ln, car, &all) })
	return w, "slcan:tcp:" + ln.Addr().String(), func() {
		cancel()
		_ = ln.Close()
		all.Wait()
		_ = c.Wait() // it ends by the signal
	}, nil
}

func (w *witness) serve(ctx context.Context, ln net.Listener, car string, all *sync.WaitGroup) {
	for {
		near, err := ln.Accept()
		if err != nil {
			return
		}
		all.Go(func() { w.pass(ctx, near, car) })
	}
}

// pass joins one caller with the car until one of them leaves.
func (w *witness) pass(ctx context.Context, near net.Conn, car string) {
	far, err := new(net.Dialer).DialContext(ctx, "tcp", car)
	if err != nil {
		_ = near.Close()
		return
	}
	hangUp := sync.OnceValue(func() error { return errors.Join(near.Close(), far.Close()) })
	defer context.AfterFunc(ctx, func() { _ = hangUp() })()
	var both sync.WaitGroup
	both.Go(func() {
		_, _ = io.Copy(near, far) // ends when either side leaves
		_ = hangUp()
	})
	lines := bufio.NewScanner(io.TeeReader(near, far))
	lines.Split(returns)
	for lines.Scan() {
		w.note(lines.Text())
	}
	_ = hangUp()
	both.Wait()
}

// returns splits at carriage returns.
func returns(data []byte, atEnd bool) (int, []byte, error) {
	if at := bytes.IndexByte(data, '\r'); at >= 0 {
		return at + 1, data[:at], nil
	}
	if atEnd && len(data) > 0 {
		return len(data), data, nil
	}
	return 0, nil, nil
}

func (w *witness) note(line string) {
	wide := map[byte]int{'t': 3, 'T': 8}
	if line == "" || wide[line[0]] == 0 || len(line) < 2+wide[line[0]] {
		return
	}
	n := wide[line[0]]
	w.mu.Lock()
	defer w.mu.Unlock()
	w.frames = append(w.frames, strings.ToUpper(line[1:1+n]+"#"+line[2+n:]))
}

func (w *witness) count() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.frames)
}

// acts are the frames that begin a request which is more than a question (ISO 15765-2: a single frame begins with 0 and
// its length, a first frame with 1 and twelve bits of length).
func (w *witness) acts() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	var out []string
	for _, f := range w.frames {
		_, data, _ := strings.Cut(f, "#")
		at := map[string]int{"0": 2, "1": 4}[data[:min(1, len(data))]]
		if at == 0 || len(data) < at+2 {
			continue // flow control, or the rest of a longer message
		}
		service, err := strconv.ParseUint(data[at:at+2], 16, 8)
		if err != nil || !bytes.Contains(questions, []byte{byte(service)}) {
			out = append(out, f)
		}
	}
	return out
}

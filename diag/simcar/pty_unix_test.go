//go:build linux || darwin

package simcar

import (
	"context"
	"io"
	"os"
	"testing"
)

// A program opens the slave as its serial port, goes, and another comes: no byte is changed on the way.
func TestOpenPTY(t *testing.T) {
	master, path, err := OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	car := load(t, "")
	go func() { done <- car.ServeSerial(ctx, master, SerialOptions{}) }()
	for _, want := range []string{"ATE0\rOK\r\r>", "OK\r\r>"} {
		port, err := os.OpenFile(path, os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		if got := talkOnce(t, port, port); got != want {
			t.Errorf("%q, want %q", got, want)
		}
		port.Close()
	}
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// A device that is pulled hangs its terminal up at once, even while a program has it open and nobody says anything.
func TestPTYHangsUp(t *testing.T) {
	for name, serve := range map[string]func(context.Context, *Car, io.ReadWriteCloser) error{
		"serial": func(ctx context.Context, c *Car, rw io.ReadWriteCloser) error {
			return c.ServeSerial(ctx, rw, SerialOptions{})
		},
		"serial-line": func(ctx context.Context, c *Car, rw io.ReadWriteCloser) error {
			return c.ServeSLCAN(ctx, rw, SLCANOptions{})
		},
	} {
		t.Run(name, func(t *testing.T) {
			master, path, err := OpenPTY()
			if err != nil {
				t.Fatal(err)
			}
			ctx, stop := context.WithCancel(t.Context())
			done := make(chan error)
			car := load(t, "")
			go func() { done <- serve(ctx, car, master) }()
			port, err := os.OpenFile(path, os.O_RDWR, 0)
			if err != nil {
				t.Fatal(err)
			}
			defer port.Close()
			if _, err := port.WriteString("V\r"); err != nil { // either device has something to say to this
				t.Fatal(err)
			}
			var buf [64]byte
			if _, err := port.Read(buf[:]); err != nil {
				t.Fatal(err)
			}
			stop()
			if err := <-done; err != nil { // hangs where the terminal stays
				t.Error(err)
			}
			for err == nil {
				_, err = port.Read(buf[:])
			}
		})
	}
}

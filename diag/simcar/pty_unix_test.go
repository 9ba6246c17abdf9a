//go:build linux || darwin

package simcar

import (
	"context"
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

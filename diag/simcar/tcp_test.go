package simcar

import (
	"bufio"
	"context"
	"io"
	"net"
	"strings"
	"testing"
)

// Two programs one after the other; each finds the adapter as after switching on.
func TestServeTCP(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- ServeTCP(ctx, ln, load(t, ""), SerialOptions{}) }()
	for range 2 {
		conn, err := net.Dial("tcp", ln.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		if got := talkOnce(t, conn, conn); got != "ATE0\rOK\r\r>" {
			t.Errorf("%q", got)
		}
		conn.Close()
	}
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if _, err := net.Dial("tcp", ln.Addr().String()); err == nil {
		t.Error("still listening")
	}
}

// The end of the context ends a connection that is open.
func TestServeTCPEnds(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- ServeTCP(ctx, ln, load(t, ""), SerialOptions{}) }()
	conn, err := net.Dial("tcp", ln.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	talkOnce(t, conn, conn)
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// talkOnce turns the echo off and returns all that is said until the prompt.
func talkOnce(t *testing.T, w io.Writer, r io.Reader) string {
	t.Helper()
	if _, err := w.Write([]byte("ATE0\r")); err != nil {
		t.Fatal(err)
	}
	got, err := bufio.NewReader(r).ReadString('>')
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(got)
}

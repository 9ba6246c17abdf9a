package simcar

import (
	"context"
	"fmt"
	"net"
)

// ServeTCP plays the serial adapter of ServeSerial to whoever connects to ln, one at a time: the next one waits until
// the one before has gone. Each finds the adapter as after switching on. It closes ln and returns nil once the
// context ends. The caller chooses where ln listens; a practice car belongs on the loopback address.
func ServeTCP(ctx context.Context, ln net.Listener, car *Car, o SerialOptions) error {
	return serveTCP(ctx, ln, func(conn net.Conn) error { return car.ServeSerial(ctx, conn, o) })
}

// ServeSLCANOverTCP is ServeTCP with the adapter of ServeSLCAN.
func ServeSLCANOverTCP(ctx context.Context, ln net.Listener, car *Car, o SLCANOptions) error {
	return serveTCP(ctx, ln, func(conn net.Conn) error { return car.ServeSLCAN(ctx, conn, o) })
}

func serveTCP(ctx context.Context, ln net.Listener, serve func(net.Conn) error) error {
	defer ln.Close()
	defer context.AfterFunc(ctx, func() { ln.Close() })()
	for {
		conn, err := ln.Accept()
		switch {
		case ctx.Err() != nil:
			if err == nil {
				conn.Close()
			}
			return nil
		case err != nil:
			return fmt.Errorf("simcar: serve tcp: %w", err)
		}
		if err := serve(conn); err != nil {
			return err
		}
	}
}

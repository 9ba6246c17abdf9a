// Package slcan carries frames through a serial-line CAN adapter, on a serial port or over TCP.
//
// Sources of the line protocol: the comments of the Linux kernel's slcan driver (drivers/net/can/slcan/slcan-core.c) for
// frames, error reports and state reports; the public descriptions of the command set (C, S, s, O, L, V, N, F, Z; status
// flags; a carriage return for done, a bell for refused), which all firmwares share, from memory. A command is a line that
// ends with a carriage return. Frames are lines too:
//
//	t7E0803220F190000000   11-bit frame, eight bytes      r7E00   remote frame
//	T18DA10F13023E00       29-bit frame, three bytes      R...    remote frame
//
// Firmwares differ in what they answer. So one line at a time waits for its answer, and a frame is written once: an adapter
// that does not answer is told in its limits, and is not asked again. Nothing here ever repeats a frame. Settings that an
// adapter keeps when it is switched off, such as its time stamps, are left as they are; stamps are understood when they
// come.
//
// The one line that is sent to a port before anything is known about it is V. It holds no hexadecimal digit, so that no
// ELM-style adapter can take it for a request, whatever was typed there before; a lone carriage return would repeat the last
// request of such an adapter, and is never sent.
package slcan

import (
	"errors"

	"readback/diag/adapter"
	"readback/diag/bus"
)

// Scheme of the places: "slcan:/dev/ttyACM0", "slcan:COM4", "slcan:tcp:192.168.0.10:2000". A comma and a bit rate in
// bit/s may follow: "slcan:/dev/ttyACM0,250000". Without one it is found by listening.
const Scheme = "slcan"

var (
	// ErrRefused means that the adapter answered with a bell: it did not take the command or the frame.
	ErrRefused = errors.New("slcan: the adapter refused it")
	// ErrNoAnswer means that nothing answers at the port.
	ErrNoAnswer = errors.New("slcan: nothing answers there")
)

var (
	_ bus.Bus          = (*Bus)(nil)
	_ bus.Stater       = (*Bus)(nil)
	_ adapter.Frames   = (*connection)(nil)
	_ adapter.Listener = driver{}
	_ adapter.Prober   = driver{}
)

// Package isotp is the transport of diagnostic messages over CAN frames, ISO 15765-2.
//
// [Segment] and [Reassembler] are the pure halves: bytes to frames and back. [Link] puts them on a [bus.Bus], with
// the timers of the standard, for many modules at once.
//
// The first bytes of a frame's data field, after the address byte of extended and mixed addressing, are the
// protocol control information (clause 9.6):
//
//	0L         single frame, L bytes follow (1-7; 1-6 with an address byte)
//	1L LL      first frame of a message of LLL bytes (up to 4095)
//	10 00 L*4  first frame of a longer message, 32-bit length
//	2N         consecutive frame, N counts 1..F, 0, 1, ...
//	3S BS ST   flow control: S 0 continue to send, 1 wait, 2 overflow; block size; separation time
//
// Clause numbers are those of the edition of 2016, which is the one that classical CAN cars of today were built to.
package isotp

import (
	"errors"
	"fmt"
	"time"
)

// Errors of the transport, named after the results of clause 8.3.7 where it has one.
var (
	ErrTimeoutBs     = errors.New("isotp: no flow control within N_Bs (N_TIMEOUT_Bs)")
	ErrTimeoutCr     = errors.New("isotp: no consecutive frame within N_Cr (N_TIMEOUT_Cr)")
	ErrWrongSequence = errors.New("isotp: wrong sequence number (N_WRONG_SN)")
	ErrInvalidFlow   = errors.New("isotp: invalid flow status (N_INVALID_FS)")
	ErrUnexpected    = errors.New("isotp: a new message began before the old one had ended (N_UNEXP_PDU)")
	ErrTooManyWaits  = errors.New("isotp: too many wait frames (N_WFT_OVRN)")
	ErrOverflow      = errors.New("isotp: the message is too long for the receiver (N_BUFFER_OVFLW)")
	// ErrTimeoutA is what [ErrTimeoutAs] and [ErrTimeoutAr] wrap.
	ErrTimeoutA  = errors.New("isotp: the bus did not take a frame in time (N_TIMEOUT_A)")
	ErrTimeoutAs = fmt.Errorf("%w: N_As ran out while sending a message", ErrTimeoutA)
	ErrTimeoutAr = fmt.Errorf("%w: N_Ar ran out while sending flow control", ErrTimeoutA)

	ErrNoPair = errors.New("isotp: no request identifier is known for this answer, so no flow control can be sent")
)

const (
	pciSingle      = 0x0
	pciFirst       = 0x1
	pciConsecutive = 0x2
	pciFlow        = 0x3

	// frameSize is the data field of a classical CAN frame.
	frameSize = 8
	// shortLength is the longest message that a first frame with a 12-bit length announces (clause 9.6.3).
	shortLength = 4095
)

// FlowStatus is the second nibble of a flow control frame, clause 9.6.5.2.
type FlowStatus byte

const (
	ContinueToSend FlowStatus = 0
	Wait           FlowStatus = 1
	Overflow       FlowStatus = 2
)

// FlowControl is what the receiver of a segmented message tells its sender.
type FlowControl struct {
	Status     FlowStatus
	BlockSize  byte // consecutive frames until the next flow control; 0 means all of them
	Separation byte // STmin as on the wire, see [SeparationTime]
}

// longestSeparation is what reserved values of STmin count as.
const longestSeparation = 127 * time.Millisecond

// SeparationTime reads STmin (clause 9.6.5.4): 00-7F are milliseconds, F1-F9 are 100-900 µs; reserved values count as
// the longest, 127 ms (clause 9.6.5.5).
func SeparationTime(b byte) time.Duration {
	switch {
	case b <= 0x7F:
		return time.Duration(b) * time.Millisecond
	case b >= 0xF1 && b <= 0xF9:
		return time.Duration(b-0xF0) * 100 * time.Microsecond
	}
	return longestSeparation
}

// Separation is STmin as on the wire for at least d: the next time that can be written, 127 ms at most.
func Separation(d time.Duration) byte {
	switch {
	case d <= 0:
		return 0
	case d <= 900*time.Microsecond:
		return 0xF0 + byte((d+100*time.Microsecond-1)/(100*time.Microsecond))
	case d >= longestSeparation:
		return 0x7F
	}
	return byte((d + time.Millisecond - 1) / time.Millisecond)
}

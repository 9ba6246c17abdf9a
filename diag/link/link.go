// Package link is the message seam: whole diagnostic messages between the tester and the modules of a car.
//
// A [Link] carries messages for many addresses at once. [Router] splits one Link into peers, one an address,
// so that a client of one module never takes another module's answer.
//
//	client - [Peer] \
//	client - [Peer] - [Router] - Link - transport
//	client - [Peer] /
//
// Silence, damage and an adapter's own trouble are errors of their own: [SilenceError], [TornError], [AdapterError]. None of
// them ends a Link ([Passing]); ErrGone and ErrClosed do.
package link

import (
	"context"
	"errors"
	"fmt"
	"time"

	"go.einride.tech/can"
)

// Link sends and receives whole diagnostic messages.
//
// Send returns once the last frame of the message has been handed over; it may be called from several
// goroutines. Receive returns the next complete message from any module, in the order they were completed,
// and is called by one goroutine at a time. An error that wraps [ErrClosed] or [ErrGone] ends the Link; a
// [*TornError] or a [*SilenceError] concerns one address and the Link goes on. Both return ctx.Err() when the
// context ends first. Close may be called more than once and unblocks both.
type Link interface {
	Send(ctx context.Context, m Message) error
	Receive(ctx context.Context) (Message, error)
	Close() error
}

// Message is one request or one answer, without transport bytes.
type Message struct {
	// Address is the receiver of a message to be sent, the sender of one received. The Request of a received
	// message's Address is zero where nothing has told which request identifier belongs to the answer.
	Address Address
	// Data is the payload: the service identifier and its parameters.
	Data []byte
	// Exact, when not nil, is the data field of the one CAN frame that must be sent, byte for byte, padding
	// included (a single frame after ISO 15765-2). A Link that can't send it so returns [ErrNotExact] and
	// sends nothing. Data then holds the payload inside that frame.
	Exact []byte
	// Wait is how long the sender of a request will wait for a first answer. An adapter that does its own waiting
	// gives up after about that time; zero leaves it to the adapter.
	Wait time.Duration
	// At is when the last frame of a received message arrived.
	At time.Time
	// Frames are the frames of a received message in order, where the adapter shows them.
	Frames []can.Frame
	// Begun, when not zero, is the number of payload bytes that a first frame has announced: a long answer is under
	// way. Data is empty then, nothing is to be decoded, and the message itself or a [*TornError] follows. A client
	// goes on waiting; only transports that see frames tell it.
	Begun int
}

var (
	ErrClosed   = errors.New("link: closed")
	ErrGone     = errors.New("link: the adapter has gone")
	ErrNotExact = errors.New("link: this adapter can't send the frame exactly as shown")
	// ErrNotSent comes with the error that kept an adapter from sending: nothing of the message has left.
	ErrNotSent = errors.New("link: nothing was sent")
	ErrTooLong = errors.New("link: message too long for this address")
)

// TornError reports a message of one module that arrived incompletely, or a request that it did not let finish.
type TornError struct {
	Address Address
	Got     int   // payload bytes that arrived
	Want    int   // payload bytes announced; 0 when not known
	Cause   error // what went wrong, after ISO 15765-2 (N_Cr, N_Bs, wrong sequence number, overflow)
}

func (e *TornError) Error() string {
	return fmt.Sprintf("link: message of %s torn after %d of %d bytes: %v", e.Address, e.Got, e.Want, e.Cause)
}

func (e *TornError) Unwrap() error { return e.Cause }

// SilenceError tells that the adapter has waited for answers to the last request to Address and none came. Only
// adapters that do their own waiting send it; elsewhere silence is the client's own timer.
type SilenceError struct {
	Address Address
	Text    string // the adapter's own words, such as NO DATA
}

func (e *SilenceError) Error() string {
	return fmt.Sprintf("link: no answer from %s (%s)", e.Address, e.Text)
}

// AdapterError carries an alert of the adapter that ended one request: CAN ERROR, BUFFER FULL, LV RESET and their like.
type AdapterError struct {
	Op      string // what was being done
	Text    string // the adapter's own words
	Damaged bool   // something came from the car that can't be read: an answer, but nobody knows which
}

func (e *AdapterError) Error() string { return fmt.Sprintf("link: %s: adapter says %q", e.Op, e.Text) }

// Damaged reports an error that tells of an answer which came and can't be read: a torn message, or a damaged line of an
// adapter. It is not silence.
func Damaged(err error) bool {
	var (
		torn  *TornError
		alert *AdapterError
	)
	return errors.As(err, &torn) || errors.As(err, &alert) && alert.Damaged
}

// Passing reports an error of [Link.Receive] that concerns one message or one request, after which the Link goes on: a torn
// message, an adapter's word that none came, and an adapter's alert.
func Passing(err error) bool {
	var (
		torn    *TornError
		silence *SilenceError
		alert   *AdapterError
	)
	return errors.As(err, &torn) || errors.As(err, &silence) || errors.As(err, &alert)
}

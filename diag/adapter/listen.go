package adapter

import (
	"context"
	"errors"
	"time"
)

// Listener is offered by a [Driver] whose adapters can listen to a bus without taking part in it: they acknowledge
// nothing and disturb nothing, even at a wrong bit rate.
//
// Listen finds the bit rate of a bus by listening at one rate after the other, and tells what it heard at the right
// one. It leaves the adapter as it found it. Its error wraps [ErrSilent], [ErrNoRate], [ErrNoBitRate] or
// [ErrNotSilent], or is a [*RightsError], where one of these is the cause; with ErrNoBitRate what was heard counts all
// the same.
type Listener interface {
	Listen(ctx context.Context, p Place, o ListenOptions) (Heard, error)
}

// Prober is offered by a [Driver] that can tell what kind of adapter is at a place without opening it: it sends nothing to
// the car and changes nothing.
type Prober interface {
	Probe(ctx context.Context, p Place) (Probed, error)
}

// Probed is what answers at a place.
type Probed struct {
	Place     Place  `json:"place"`               // by which it is opened, perhaps by another driver
	Version   string `json:"version,omitempty"`   // what it says of itself
	LineSpeed int    `json:"lineSpeed,omitempty"` // bit/s of the serial line, 0 when there is none
}

// ListenOptions say how to listen.
type ListenOptions struct {
	Rates []int         // in bit/s, in the order in which they are tried; nil stands for [UsualRates]
	For   time.Duration // how long at each rate; 0 stands for 1 s. A rate that is wrong is left at once
	// Take allows to change the bit rate of an interface that somebody has set up. Without it such an interface is only
	// heard, at the rate that it has.
	Take bool
}

// UsualRates are the bit rates in the order in which a listener tries them: 500 and 250 kbit/s are those of ISO
// 15765-4, the others are common practice in cars.
func UsualRates() []int { return []int{500_000, 250_000, 125_000, 1_000_000, 100_000, 50_000} }

// Heard is what was on a bus.
type Heard struct {
	BitRate int           `json:"bitRate"` // bit/s; 0 when not known
	Narrow  int           `json:"narrow"`  // frames with 11-bit identifiers
	Wide    int           `json:"wide"`    // frames with 29-bit identifiers
	Broken  int           `json:"broken"`  // reports of frames that broke the bit rules, at this rate
	Load    float64       `json:"load"`    // share of the time in which the bus was busy, 0 to 1; 0 without a bit rate
	Lasted  time.Duration `json:"lasted"`  // how long it was heard at this rate
}

var (
	// ErrSilent means that nothing was heard at any rate. Many cars say nothing at the diagnostic socket until asked.
	ErrSilent = errors.New("adapter: nothing was heard on the bus")
	// ErrNoRate means that somebody talks, but at none of the rates tried.
	ErrNoRate = errors.New("adapter: the bus has another bit rate than those tried")
	// ErrNoBitRate means that this interface has no bit rate, because there is no wire behind it.
	ErrNoBitRate = errors.New("adapter: this interface has no bit rate")
	// ErrNotSilent means that this adapter can't listen without taking part.
	ErrNotSilent = errors.New("adapter: it can't listen without taking part")
)

// RightsError means that this program may not set the interface up, or not open the port; the Command may, or lets it.
type RightsError struct {
	Command string // as typed into a terminal
	Then    string // a sentence: what else has to be done before it counts; "" when nothing
	Cause   error
}

func (e *RightsError) Error() string {
	return "adapter: no right to use it; this command helps: " + e.Command
}

func (e *RightsError) Unwrap() error { return e.Cause }

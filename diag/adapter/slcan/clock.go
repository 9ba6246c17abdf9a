package slcan

import "time"

const (
	// period is after how long a time stamp begins again at 0: it counts milliseconds to 59999.
	period = time.Minute
	// latest is how long a line may have been on its way before its stamp is not believed any more.
	latest = time.Second
)

// clock makes times of an adapter's stamps, which begin again every minute and run by another crystal.
type clock struct {
	begun bool
	stamp time.Duration // of the last frame
	at    time.Time     // when that was
}

// time is when a frame with a stamp of ms happened whose line arrived at arrival. It is never after the arrival, and
// never before the frame before it. Without a stamp it is the arrival.
func (c *clock) time(ms int, arrival time.Time) time.Time {
	stamp := time.Duration(ms) * time.Millisecond
	if ms == noStamp || stamp >= period {
		return c.not(arrival)
	}
	at := arrival
	if c.begun {
		step := (stamp - c.stamp + period) % period
		whole := (arrival.Sub(c.at) - step + period/2) / period
		at = c.at.Add(step + max(whole, 0)*period)
		if at.After(arrival) || arrival.Sub(at) > latest {
			at = arrival
		}
		if at.Before(c.at) {
			at = c.at
		}
	}
	c.begun, c.stamp, c.at = true, stamp, at
	return at
}

// not is the time of an event without a stamp: its arrival, in order with the others.
func (c *clock) not(arrival time.Time) time.Time {
	if arrival.Before(c.at) {
		return c.at
	}
	return arrival
}

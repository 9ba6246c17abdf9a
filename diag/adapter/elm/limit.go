package elm

import (
	"time"

	"go.einride.tech/can"

	"readback/diag/link"
)

// Exchange is one request over an adapter, and what came of it.
type Exchange struct {
	Address link.Address
	Length  int           // bytes of the request's payload
	Wait    time.Duration // as in link.Message
	Exact   bool          // the request was a change, which gets the adapter's longest wait
	Frames  int           // frames, or messages with header bytes, that came back; 0: silence
	Took    time.Duration // the car's own time, from the request to the last of them
}

// LineLimit is the least time that a row of exchanges needs over a serial line of speed in bit/s, 0 standing for 115200. It
// is worked out from the exchanges alone, for the commands that the adapter's data sheet has:
//
//	limit = bytes · 10 bits / speed + waiting
//	bytes = for each exchange the settings that differ from those of the one before (protocol and filter with the width of
//	        the identifier, header with the identifier) and their "OK", the request, the last line of the answer or
//	        NO DATA, and the prompt
//	waiting = for silence the time that the adapter was told to wait; for the answer of one module the car's own time; for
//	        answers to a request to all modules that time and then the adapter's, for who else is silent shows no sooner
//
// The lines of a long answer but the last travel while the car sends. The adapter's own thinking, the way through a USB
// bridge or a radio link, and all that this package does beyond that is not in it.
func LineLimit(speed int, exchanges []Exchange) time.Duration {
	if speed <= 0 {
		speed = usualSpeed
	}
	var (
		bytes   int
		waiting time.Duration
		last    link.Address
	)
	for i, x := range exchanges {
		bytes += x.settings(last, i == 0) + x.typed() + x.shown()
		waiting += x.waiting()
		last = x.Address
	}
	return time.Duration(bytes*bitsEach)*time.Second/time.Duration(speed) + waiting
}

const (
	okText     = "OK\r\r>"
	noDataText = "NO DATA\r\r>"
	readyText  = "\r>"
)

// setting is how many bytes a command takes with its carriage return and its answer.
func setting(line string) int { return len(line) + 1 + len(okText) }

// settings are the bytes of what has to be set anew. The first exchange finds the protocol set.
func (x Exchange) settings(last link.Address, first bool) int {
	a := x.Address
	n := 0
	switch header := a.Mode == link.Header; {
	case header && (first || a != last):
		return setting("ATSH686AF1")
	case header:
		return 0
	case !first && a.Request.Extended != last.Request.Extended:
		n += setting("ATSP6")
		filter := link.ID{Extended: a.Request.Extended}.String()
		n += setting("ATCF"+filter) + setting("ATCM"+filter)
	}
	if first || a.Request != last.Request {
		id := a.Request.String()
		if a.Request.Extended { // its upper five bits stay as they are within a width
			if first || !last.Request.Extended {
				n += setting("ATCP18")
			}
			id = id[2:]
		}
		n += setting("ATSH" + id)
	}
	return n
}

// typed are the bytes of the request: on CAN one line for each frame, eight bytes in hex.
func (x Exchange) typed() int {
	if x.Address.Mode == link.Header {
		return 2*x.Length + 1
	}
	frames := 1
	if most := can.MaxDataLength - 1; x.Length > most {
		frames += (x.Length - (most - 1) + most - 1) / most
	}
	return frames * (2*can.MaxDataLength + 1)
}

// shown are the bytes of the last line of the answer and the prompt.
func (x Exchange) shown() int {
	switch {
	case x.Frames == 0:
		return len(noDataText)
	case x.Address.Mode == link.Header:
		return 2*(shortHeader+2) + 1 + len(readyText)
	}
	return len(x.Address.Request.String()) + 2*can.MaxDataLength + 1 + len(readyText)
}

func (x Exchange) waiting() time.Duration {
	wait := told(x.Wait, x.Exact)
	if x.Address.Mode == link.Header {
		wait = headerTime(x.Wait, x.Exact)
	}
	switch {
	case x.Frames == 0:
		return wait
	case x.Address.Functional:
		return x.Took + wait
	}
	return x.Took
}

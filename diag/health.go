package diag

import (
	"errors"
	"fmt"

	"readback/diag/adapter"
	"readback/diag/bus"
)

// BusFacts is what is known of a CAN bus when its health is judged. What nobody has measured stays zero.
type BusFacts struct {
	BitRate int       // bit/s; 0 when not known
	State   bus.State // of the adapter's controller
	Sent    int       // frames handed to the adapter
	Heard   int       // good frames that came
	Load    float64   // share of the time in which the bus was busy, 0 to 1

	// Reports of the controller, as often as they came.
	Unacknowledged int // nobody acknowledged a frame
	Broken         int // a frame broke the bit rules
	Warnings       int // an error counter passed a limit
	Lost           int // frames were lost between the controller and this program
	Off            bool
	Down           bool // the interface was taken down

	Listened error  // how listening without taking part ended: nil, or an error of an [adapter.Listener]
	Recover  string // the command that brings a controller back that has left the bus; "" where there is none
}

// Health is how a bus does, in words for its owner.
type Health struct {
	Verdict     HealthVerdict `json:"verdict"`
	Text        string        `json:"text"`              // what was measured
	Causes      []string      `json:"causes"`            // the likeliest first
	Next        string        `json:"next"`              // the one thing to do now
	Command     string        `json:"command,omitempty"` // for a terminal, where one helps
	StopSending bool          `json:"stopSending"`
}

// HealthVerdict names what is the matter.
type HealthVerdict string

const (
	HealthAlive      HealthVerdict = "alive"      // frames come and go
	HealthQuiet      HealthVerdict = "quiet"      // nobody says anything, and nothing was asked
	HealthUnanswered HealthVerdict = "unanswered" // frames went out, none came, and nobody complains
	HealthBusy       HealthVerdict = "busy"
	HealthLosing     HealthVerdict = "losing"    // frames get lost in this computer or in the adapter
	HealthDisturbed  HealthVerdict = "disturbed" // good frames and broken ones
	HealthAlone      HealthVerdict = "alone"     // nobody acknowledges
	HealthWrongRate  HealthVerdict = "wrong rate"
	HealthUnreadable HealthVerdict = "unreadable" // broken frames at every bit rate
	HealthOff        HealthVerdict = "off"        // the adapter has left the bus
	HealthDown       HealthVerdict = "down"       // the interface is down
)

const (
	// busyLoad is the share of the time above which a bus is told to be busy (common practice, no source).
	busyLoad = 0.8
	// brokenShare is one broken frame in a hundred, from which a bus counts as disturbed (common practice, no source).
	brokenShare = 0.01
	// fewAsked is how many frames without an answer say nothing yet.
	fewAsked = 10
)

// Causes and steps. Those of error passive, bus off and wrong bit rates are one family, in the order of common practice;
// what has been measured brings one of them to the front.
const (
	causeRate     = "The bit rate is not the car's."
	causeWires    = "CAN high and CAN low are swapped, or one of them is open."
	causeResistor = "An end resistor is missing: 60 ohm belong between pins 6 and 14, measured with the car asleep."
	causeAlone    = "The adapter is alone on the bus: the car is asleep or its ignition is off, so nobody acknowledges."
	causeExtra    = "The adapter brings a resistor of 120 ohm of its own."
	causeFD       = "The bus is CAN FD, which this adapter can't read."
	causeLoose    = "The plug is loose, or its ground is bad."

	stepListen = "Send nothing more. Unplug the adapter, and listen without taking part before anything is sent again."
)

// JudgeBus says how a bus does. The worst that is known decides.
func JudgeBus(f BusFacts) Health {
	h := Health{Causes: []string{}}
	frames := f.Heard + f.Broken
	passive := f.State == bus.StatePassive
	switch {
	case f.State == bus.StateStopped || f.Down:
		h.Verdict, h.StopSending = HealthDown, true
		h.Text = "The interface is down, so nothing can be sent or heard."
		h.Causes = []string{"Somebody has taken it down, or it has not been brought up since this computer started."}
		h.Next, h.Command = "Bring it up again, and connect anew.", f.Recover
	case f.State == bus.StateOff || f.Off:
		h.Verdict, h.StopSending = HealthOff, true
		h.Text = "The adapter has left the car's bus after too many errors. What is sent now goes nowhere."
		h.Causes = []string{causeRate, causeWires, causeResistor, causeAlone, causeExtra, causeFD}
		h.Next, h.Command = stepListen+" Then connect anew, once: the adapter does not come back by itself.", f.Recover
	case errors.Is(f.Listened, adapter.ErrNoRate):
		h.Verdict, h.StopSending = HealthUnreadable, true
		h.Text = "Somebody talks, but at none of the usual bit rates can a frame be read."
		h.Causes = []string{causeFD, "The bus has an unusual bit rate.", causeWires, causeResistor}
		h.Next = "Send nothing. Measure the resistance between pins 6 and 14 with the car asleep."
	case f.Broken > 0 && f.Heard == 0 && f.Unacknowledged == 0:
		h.Verdict, h.StopSending = HealthWrongRate, true
		h.Text = fmt.Sprintf("Only broken frames come%s.", atRate(f.BitRate))
		h.Causes = []string{causeRate, causeWires, causeResistor, causeFD}
		h.Next = stepListen
	case f.Heard == 0 && (f.Unacknowledged > 0 || passive && f.Sent > 0):
		h.Verdict, h.StopSending = HealthAlone, true
		h.Text = "Nobody on the bus acknowledges what is sent."
		h.Causes = []string{causeAlone, causeWires, causeRate, causeResistor, causeFD}
		h.Next = "Send nothing more. Switch the ignition on, wait 20 seconds, and connect anew."
	case passive, frames > 0 && float64(f.Broken) >= brokenShare*float64(frames), f.State == bus.StateWarning:
		h.Verdict, h.StopSending = HealthDisturbed, passive
		h.Text = fmt.Sprintf("%s came well, and %s of broken ones.", count(f.Heard, "frame"), count(f.Broken, "report"))
		h.Causes = []string{causeLoose, causeResistor, causeExtra, "Another adapter is plugged in as well."}
		h.Next = "Push the plug home, and take other adapters out."
		if passive {
			h.Next = "Send nothing more. Push the plug home, take other adapters out, and connect anew."
		}
	case f.Lost > 0:
		h.Verdict = HealthLosing
		h.Text = fmt.Sprintf("Frames got lost on their way to this program: %s.", count(f.Lost, "time"))
		h.Causes = []string{"This computer is too busy.", "The adapter's buffer, or its line, is too small for this bus."}
		h.Next = "Close other programs, and read again."
	case f.Load > busyLoad:
		h.Verdict = HealthBusy
		h.Text = fmt.Sprintf("The bus is busy for %.0f %% of the time.", 100*f.Load)
		h.Causes = []string{"Somebody else sends a lot: another adapter, or a module that is being programmed."}
		h.Next = "Take other adapters out."
	case f.Heard > 0:
		h.Verdict = HealthAlive
		h.Text = fmt.Sprintf("%s came without errors.", count(f.Heard, "frame"))
		h.Next = "Nothing to do."
	case f.Sent > fewAsked:
		h.Verdict = HealthUnanswered
		h.Text = fmt.Sprintf("%s went out and none came. The adapter says that all is well.", count(f.Sent, "frame"))
		h.Causes = []string{"The car is asleep, and the adapter tells success though nobody acknowledges. Some adapters repeat such a frame for ever.", causeWires, causeRate}
		h.Next = "Unplug the adapter, which ends whatever it repeats. Switch the ignition on, wait 20 seconds, and connect anew."
	default:
		h.Verdict = HealthQuiet
		h.Text = "Nobody says anything on the bus. Many cars are silent at the diagnostic socket until they are asked."
		h.Causes = []string{"The car waits to be asked.", "The car is asleep, or its ignition is off."}
		h.Next = "Switch the ignition on, wait 20 seconds, and read the car."
	}
	return h
}

func atRate(rate int) string {
	if rate == 0 {
		return ""
	}
	return fmt.Sprintf(" at %d kbit/s", rate/1000)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

package gate

import (
	"fmt"
	"math"
	"time"
)

// Band is how strong the 12 V supply is, from its volts at rest. The limits of the rest voltages are from published
// tables of lead batteries; 12.4 V as lower bound for a change and 13.2 to 14.8 V for a supply that is fed are common
// workshop practice. Figures differ by maker.
type Band string

const (
	BandNone    Band = "no supply"    // below 1 V: nothing feeds the adapter
	BandFlat    Band = "flat"         // 1 to 11.5 V
	BandEmpty   Band = "nearly empty" // 11.5 to 12.0 V
	BandLow     Band = "low"          // 12.0 to 12.2 V
	BandFair    Band = "a little low" // 12.2 to 12.4 V
	BandGood    Band = "good"         // 12.4 to 13.2 V
	BandFed     Band = "fed"          // 13.2 to 14.8 V: a charger or the car's own converter is at work
	BandHigh    Band = "high"         // 14.8 to 15.0 V
	BandFault   Band = "too high"     // above 15.0 V
	BandNoSense Band = "no number"    // not a voltage at all
)

// Volts at which a band begins.
const (
	flatFrom  = 1.0
	emptyFrom = 11.5
	lowFrom   = 12.0
	fairFrom  = 12.2
	goodFrom  = 12.4
	fedFrom   = 13.2
	highFrom  = 14.8
	faultOver = 15.0
)

// BandOf is the band of a voltage, which is rounded to 0.01 V first. A voltage on a limit belongs to the band above it,
// but for 15.0 V.
func BandOf(volts float64) Band {
	switch v := math.Round(volts*100) / 100; {
	case math.IsNaN(v) || math.IsInf(v, 0) || v < 0:
		return BandNoSense
	case v < flatFrom:
		return BandNone
	case v < emptyFrom:
		return BandFlat
	case v < lowFrom:
		return BandEmpty
	case v < fairFrom:
		return BandLow
	case v < goodFrom:
		return BandFair
	case v < fedFrom:
		return BandGood
	case v < highFrom:
		return BandFed
	case v <= faultOver:
		return BandHigh
	}
	return BandFault
}

// Advice is what the band means for reading the car: whether it should be read at all, and a sentence for the owner,
// "" when there is nothing to say.
func (b Band) Advice() (read bool, text string) {
	switch b {
	case BandNone:
		return false, "The adapter finds no 12 V supply. It is not in the car's socket, or the fuse of the socket has blown; it is often the lighter's."
	case BandFlat:
		return false, "The 12 V battery is flat, below 11.5 V. Charge it before you read the car: modules that run short of volts store codes of their own."
	case BandEmpty:
		return true, "The 12 V battery is nearly empty. Read once and briefly, then charge it."
	case BandLow:
		return true, "The 12 V battery is low. Reading works; charge it before you change anything."
	case BandHigh:
		return true, "The 12 V supply is high. Something charges it too hard: read, and change nothing."
	case BandFault:
		return false, "The 12 V supply is above 15 V. That harms modules: switch the car off, take the charger off, and have it looked at."
	case BandNoSense:
		return true, "The 12 V supply could not be measured."
	}
	return true, ""
}

const (
	sagWindow = 5 * time.Minute
	sagFall   = 0.5 // volts within the window
)

// Remember adds a reading of the supply to the earlier ones and drops those that are more than 5 minutes older than it.
// Readings come in the order in which they were taken. The slice that was given is not changed.
func Remember(earlier []Reading, r Reading) []Reading {
	kept := make([]Reading, 0, len(earlier)+1)
	for _, e := range earlier {
		if r.At.Sub(e.At) <= sagWindow {
			kept = append(kept, e)
		}
	}
	return append(kept, r)
}

// Sag tells that the supply can't be relied on: over the last 5 minutes it fell by more than 0.5 V, or it was below
// 11.5 V at some time. The text says which, with its numbers; it is "" when neither is so. Readings that are no
// voltages, are older, or are from a time still to come don't count.
func Sag(readings []Reading, now time.Time) string {
	var top, from, to *Reading
	fall := 0.0
	for i := range readings {
		r := &readings[i]
		if age := now.Sub(r.At); age > sagWindow || age < -time.Second || BandOf(r.Value) == BandNoSense {
			continue
		}
		if hundredths(r.Value) < hundredths(emptyFrom) {
			return fmt.Sprintf("it was down at %.1f V %s ago: wait until it has held for 5 minutes, or connect a charger", r.Value, ago(now.Sub(r.At)))
		}
		if top == nil || r.Value > top.Value {
			top = r
		}
		if f := top.Value - r.Value; f > fall {
			fall, from, to = f, top, r
		}
	}
	if hundredths(fall) <= hundredths(sagFall) {
		return ""
	}
	return fmt.Sprintf("it fell from %.1f V to %.1f V within %s: wait until it has held for 5 minutes, or connect a charger", from.Value, to.Value, ago(to.At.Sub(from.At)))
}

func hundredths(volts float64) float64 { return math.Round(volts * 100) }

// supply is the latch of the 12 V supply. off tells that the drive is off and nothing charges.
func (l liner) supply(off bool) Latch {
	lt := Latch{Key: SupplyGood, Title: "The 12 V supply is strong enough"}
	_, accepted := l.said(SupplyGood)
	ask := false
	lt = l.measured(lt, l.s.Supply, 1, "V", func(v float64) (bool, string) {
		band, sag := BandOf(v), Sag(Remember(l.s.Supplies, *l.s.Supply), l.now)
		switch {
		case band == BandNone:
			return false, "no supply is measured: push the plug home, and look at the fuse of the socket"
		case band == BandFlat:
			return false, "the 12 V battery is flat: stop here and charge it first"
		case band == BandFault:
			return false, "above 15 V: stop, switch the car off and take the charger off"
		case sag != "":
			return false, sag
		case band == BandEmpty, band == BandLow:
			return false, "needs 12.4 V or more: charge the 12 V battery first"
		case band == BandFair:
			ask = true
			if accepted {
				return true, "a little low: you accepted it"
			}
			return false, "a little low: 12.4 V or more is better. Connect a charger, or accept it"
		case band == BandFed && !off:
			ask = true
			if accepted {
				return true, "you say that a charger is connected to the 12 V battery"
			}
			return false, "something feeds the supply: the drive may be on, or the car charges. If it is a charger on the 12 V battery, say so"
		case band == BandGood, band == BandFed:
			return true, "needs 12.4 V or more"
		case band == BandHigh:
			return false, "too high: it must be below 14.8 V"
		}
		return false, "the value makes no sense; it has to be measured again"
	})
	if ask {
		lt.CanSay = true
		if lt.InLine {
			lt.Source = Owner
		}
	}
	if why := Sag(l.s.Supplies, l.now); l.s.Supply == nil && why != "" {
		lt.InLine, lt.CanSay, lt.Source, lt.Why = false, false, Measured, why
	}
	return lt
}

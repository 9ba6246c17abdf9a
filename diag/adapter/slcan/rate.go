package slcan

import (
	"fmt"

	"readback/diag/adapter"
)

// standard are the bit rates of S0 to S8 in bit/s, as in the kernel's slcan driver.
var standard = [...]int{10_000, 20_000, 50_000, 100_000, 125_000, 250_000, 500_000, 800_000, 1_000_000}

// Bounds of the two timing registers that s sets. They are those of a controller with a clock of 16 MHz (from memory: the
// register layout of stand-alone CAN controllers, which this command names in hexadecimal).
const (
	registerClock = 8_000_000 // half the clock: time quanta at prescaler 1
	mostPrescaler = 64
	fewestQuanta  = 8
	mostQuanta    = 25
	bestQuanta    = 16
	mostRate      = 1_000_000 // bit/s of classical CAN (ISO 11898-1)
)

// rateCommand is the line that sets a bit rate in bit/s: S for the usual ones, s with two registers for others.
func rateCommand(rate int) (string, error) {
	for i, r := range standard {
		if r == rate {
			return fmt.Sprintf("S%d", i), nil
		}
	}
	if rate <= 0 || rate > mostRate {
		return "", fmt.Errorf("%w: %d bit/s", adapter.ErrRate, rate)
	}
	for _, quanta := range quantaOrder() {
		prescaler := (registerClock + rate*quanta/2) / (rate * quanta)
		if prescaler < 1 || prescaler > mostPrescaler {
			continue
		}
		// 0.1 % of error leaves the rest of what ISO 11898-1 allows to the car's own clocks.
		if got := registerClock / float64(prescaler*quanta); got/float64(rate) > 1.001 || got/float64(rate) < 0.999 {
			continue
		}
		second := (quanta + 4) / 8 // sample point at about 7/8
		first := quanta - 1 - second
		if first > 16 {
			first, second = 16, quanta-1-16
		}
		return fmt.Sprintf("s%02X%02X", prescaler-1, (second-1)<<4|(first-1)), nil
	}
	return "", fmt.Errorf("%w: %d bit/s", adapter.ErrRate, rate)
}

// quantaOrder tries 16 time quanta a bit first, then its neighbours.
func quantaOrder() []int {
	out := []int{bestQuanta}
	for d := 1; d < mostQuanta; d++ {
		for _, q := range []int{bestQuanta - d, bestQuanta + d} {
			if q >= fewestQuanta && q <= mostQuanta {
				out = append(out, q)
			}
		}
	}
	return out
}

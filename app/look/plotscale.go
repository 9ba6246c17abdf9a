package look

import (
	"math"
	"strconv"
	"time"
)

// scale is the axis of one unit: from low to high, with a line at every step.
type scale struct{ low, high, step float64 }

// steps that are easy to read, times a power of ten.
var roundSteps = []float64{1, 2, 5, 10}

// roundStep is the smallest easy step that is not less than v.
func roundStep(v float64) float64 {
	tens := math.Pow(10, math.Floor(math.Log10(v)))
	for _, s := range roundSteps {
		if s*tens >= v*(1-1e-9) {
			return s * tens
		}
	}
	return 10 * tens
}

// fit makes a scale for values between two bounds, with no more than so many steps. The scale of before is kept as
// long as the values fill a good part of it: axes that jump can't be read. digits are those behind the point.
func fit(before scale, low, high float64, digits, most int) scale {
	least := 4 * math.Pow(10, -float64(digits))
	if high-low < least {
		middle := (low + high) / 2
		if low >= 0 { // no axis below zero for what is never below it
			middle = max(middle, least/2)
		}
		low, high = middle-least/2, middle+least/2
	}
	span := before.high - before.low
	if before.step > 0 && low >= before.low && high <= before.high && high-low > span*0.3 && span/before.step <= float64(most)+0.5 {
		return before
	}
	s := scale{step: roundStep((high - low) / float64(max(1, most-1)))}
	s.low, s.high = math.Floor(low/s.step+1e-9)*s.step, math.Ceil(high/s.step-1e-9)*s.step
	if s.high-s.low < s.step/2 {
		s.high = s.low + s.step
	}
	return s
}

// label is a value of the axis, with as many digits as its step has.
func (s scale) label(v float64) string {
	digits := max(0, int(-math.Floor(math.Log10(s.step)+1e-9)))
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if f, err := strconv.ParseFloat(text, 64); err == nil && f == 0 {
		return strconv.FormatFloat(0, 'f', digits, 64)
	}
	return text
}

// Spans are the lengths of time that a [Plot] can show.
var Spans = []time.Duration{5 * time.Second, 10 * time.Second, 20 * time.Second, 30 * time.Second, time.Minute, 2 * time.Minute, 5 * time.Minute,
	10 * time.Minute, 20 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour}

// timeSteps are between two times under a plot.
var timeSteps = []time.Duration{time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 15 * time.Second, 30 * time.Second, time.Minute,
	2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour}

// timeStep is the shortest step of which no more than so many fit.
func timeStep(span time.Duration, most int) time.Duration {
	for _, s := range timeSteps {
		if span <= s*time.Duration(max(1, most)) {
			return s
		}
	}
	return timeSteps[len(timeSteps)-1]
}

// clock is a time of day, with seconds where the steps are shorter than a minute.
func clock(t time.Time, step time.Duration) string {
	if step < time.Minute {
		return t.Local().Format("15:04:05")
	}
	return t.Local().Format("15:04")
}

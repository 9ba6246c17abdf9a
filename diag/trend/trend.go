// Package trend tells whether something comes back faster and faster: the Laplace test and the power-law fit for the
// times at which one thing returned while it was watched.
//
// It is pure: numbers in, numbers out. The methods are those of the NIST/SEMATECH e-Handbook of Statistical Methods,
// 8.2.3.4 (trend tests) and 8.4.5.2 (power law), for one system that is watched until a fixed end. A return counts at
// the visit that found it, which may be later than the return itself: with few visits the numbers are coarse.
package trend

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"
)

// Series are the returns of one thing while it was watched. The zero value holds none.
type Series struct {
	times []float64 // days from the beginning, ascending
	end   float64   // days
}

var (
	ErrOrder = errors.New("trend: a return lies outside the time of watching")
	ErrSpan  = errors.New("trend: the time of watching has no length")
)

const day = 24 * time.Hour

// New makes a series of the returns between the beginning and the end of watching. A return at the very beginning is
// refused: what was there when watching began has not returned.
func New(begin time.Time, returns []time.Time, end time.Time) (Series, error) {
	s := Series{end: float64(end.Sub(begin)) / float64(day)}
	for _, r := range returns {
		s.times = append(s.times, float64(r.Sub(begin))/float64(day))
	}
	return s.checked()
}

func (s Series) checked() (Series, error) {
	if !(s.end > 0) || math.IsInf(s.end, 1) {
		return Series{}, fmt.Errorf("%w (%v)", ErrSpan, s.end)
	}
	slices.Sort(s.times)
	for _, t := range s.times {
		if !(t > 0 && t <= s.end) {
			return Series{}, fmt.Errorf("%w: %v of %v", ErrOrder, t, s.end)
		}
	}
	return s, nil
}

// Laplace is the statistic of Laplace's test: about normally distributed with mean 0 and variance 1 when returns come at
// a steady rate, positive when they crowd towards the end. It is 0 without returns.
func (s Series) Laplace() float64 {
	n := float64(len(s.times))
	if n == 0 {
		return 0
	}
	sum := 0.0
	for _, t := range s.times {
		sum += t - s.end/2
	}
	return math.Sqrt(12*n) * sum / (n * s.end)
}

// exactUpTo is the number of returns up to which the chance is computed exactly; beyond it the normal distribution is as good.
const exactUpTo = 18

// Chance is how probable it is that returns at a steady rate crowd towards the end at least as much as these do: small
// when they come faster, near 1 when they come slower. For few returns it is exact (the distribution of a sum of
// uniform numbers, Irwin and Hall 1927), for many that of the normal distribution. It is 1 without returns.
func (s Series) Chance() float64 {
	n := len(s.times)
	switch {
	case n == 0:
		return 1
	case n > exactUpTo:
		return math.Erfc(s.Laplace()/math.Sqrt2) / 2
	}
	sum := 0.0
	for _, t := range s.times {
		sum += t / s.end
	}
	return uniformSum(float64(n)-sum, n) // the sum is symmetric about n/2
}

// uniformSum is the chance that n numbers, uniform between 0 and 1, add up to at most x.
func uniformSum(x float64, n int) float64 {
	total, choose, factorial := 0.0, 1.0, 1.0
	for k := 1; k <= n; k++ {
		factorial *= float64(k)
	}
	for k := 0; k <= n && float64(k) < x; k++ {
		term := choose * math.Pow(x-float64(k), float64(n))
		if k%2 == 1 {
			term = -term
		}
		total += term
		choose *= float64(n-k) / float64(k+1)
	}
	return min(1, max(0, total/factorial))
}

// Fit is a power law: by the time t there have been Lambda·t^Beta returns on average. With Beta over 1 they come
// faster and faster, under 1 slower and slower.
type Fit struct {
	Beta, Lambda float64
}

// Unbiased fits a power law by maximum likelihood (Crow 1974, MIL-HDBK-189 appendix C), with the bias of few returns taken
// out of Beta (e-Handbook, 8.4.5.2): one less than the number of returns stands above the line. It tells false for fewer
// than two returns, and where all of them are at the end.
func (s Series) Unbiased() (Fit, bool) { return s.fit(float64(len(s.times) - 1)) }

func (s Series) fit(above float64) (Fit, bool) {
	if len(s.times) < 2 {
		return Fit{}, false
	}
	sum := 0.0
	for _, t := range s.times {
		sum += math.Log(s.end / t)
	}
	if sum <= 0 {
		return Fit{}, false
	}
	f := Fit{Beta: above / sum}
	f.Lambda = float64(len(s.times)) / math.Pow(s.end, f.Beta)
	return f, true
}

// Verdict is what can be said of a series.
type Verdict string

const (
	Never  Verdict = "never"   // it has not returned
	TooFew Verdict = "too few" // it has returned, but not often enough to tell
	Faster Verdict = "faster"  // it comes back faster and faster
	Slower Verdict = "slower"  // it comes back slower and slower
	Steady Verdict = "steady"  // no trend is shown
)

// Fewest is the number of returns from which on a trend is told at all; doubtful is the chance below which a steady
// rate is no longer believed, for each direction (together one in ten: common practice for such a warning).
const (
	Fewest   = 4
	doubtful = 0.05
)

// Verdict judges the series.
func (s Series) Verdict() Verdict {
	switch chance := s.Chance(); {
	case len(s.times) == 0:
		return Never
	case len(s.times) < Fewest:
		return TooFew
	case chance < doubtful:
		return Faster
	case chance > 1-doubtful:
		return Slower
	}
	return Steady
}

package trend

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// reliabilityTest are the ten failures of a test of 1500 hours in the NIST/SEMATECH e-Handbook, 8.2.2.3 and 8.2.3.4,
// case study 1 (https://www.itl.nist.gov/div898/handbook/apr/section2/apr234.htm).
var reliabilityTest = []float64{5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478}

// interarrival is example 5.11 of Modarres, Kaminskiy and Krivtsov, Reliability Engineering and Risk Analysis, as the
// open library reliability works it in its documentation (ROCOF): the times between failures, the last ends the watch.
var interarrival = []float64{104, 131, 1597, 59, 4, 503, 157, 6, 118, 173, 114, 62, 101, 216, 106, 140, 1, 102, 3, 393, 96, 232, 89, 61, 37, 293, 7, 165, 87, 99}

// appendixC are the 27 failures of a test of 300 hours in MIL-HDBK-189 (1981), appendix C.
var appendixC = []float64{2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1, 132.0, 142.2,
	147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1}

// numbers makes a series of times that are counted from the beginning of watching.
func numbers(times []float64, end float64) (Series, error) {
	return Series{times: slices.Clone(times), end: end}.checked()
}

// likeliest is the fit with its bias, as MIL-HDBK-189 has it.
func likeliest(s Series) (Fit, bool) { return s.fit(float64(len(s.times))) }

// rate is the number of returns for each unit of time at the time t.
func rate(f Fit, t float64) float64 { return f.Lambda * f.Beta * math.Pow(t, f.Beta-1) }

func of(t *testing.T, times []float64, end float64) Series {
	t.Helper()
	s, err := numbers(times, end)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance {
		t.Errorf("%s is %v, the published value is %v", what, got, want)
	}
}

func TestHandbook(t *testing.T) {
	s := of(t, reliabilityTest, 1500)
	// 8.4.5.2 gives the improvement slope 0.516494, which is 1 - Beta, a = 0.2913 and 310.234 hours to the next failure.
	f, ok := s.Unbiased()
	if !ok {
		t.Fatal("no fit")
	}
	near(t, "1 - beta", 1-f.Beta, 0.516494, 5e-7)
	near(t, "lambda", f.Lambda, 0.2913003, 5e-7)
	near(t, "time to the next", 1/rate(f, 1500), 310.234, 5e-4)
	// 8.2.3.4 gives the formula of the statistic; here it is worked by hand from the sum of the times, 5683.
	near(t, "Laplace's statistic", s.Laplace(), (5683.0/10-750)/(1500*math.Sqrt(1.0/120)), 1e-12)
	if u := s.Laplace(); u > -1.3 || u < -1.4 {
		t.Errorf("Laplace's statistic is %v", u)
	}
}

// The watch ends with the last failure here, so that failure does not count (the library's own convention).
func TestPublishedInterarrival(t *testing.T) {
	var times []float64
	sum := 0.0
	for _, gap := range interarrival {
		sum += gap
		times = append(times, sum)
	}
	s := of(t, times[:len(times)-1], sum)
	near(t, "Laplace's statistic", s.Laplace(), 2.409, 5e-4)
	if s.Verdict() != Faster {
		t.Errorf("the verdict is %s; published: worsening", s.Verdict())
	}
	all := of(t, times, sum) // its fit counts all thirty
	f, ok := likeliest(all)
	if !ok {
		t.Fatal("no fit")
	}
	near(t, "beta", f.Beta, 1.588, 5e-4)
	near(t, "lambda", f.Lambda, 3.703e-05, 5e-8)
}

func TestAppendixC(t *testing.T) {
	f, ok := likeliest(of(t, appendixC, 300))
	if !ok {
		t.Fatal("no fit")
	}
	near(t, "beta", f.Beta, 0.7163392624, 5e-9)
	near(t, "lambda", f.Lambda, 0.4538418614, 5e-9)
	near(t, "rate at the end", rate(f, 300), 0.0644705336, 5e-9)
}

// The exact chance for few returns against simple cases, the normal distribution, and counting.
func TestChance(t *testing.T) {
	near(t, "one at the middle", of(t, []float64{5}, 10).Chance(), 0.5, 1e-12)
	near(t, "one late", of(t, []float64{9}, 10).Chance(), 0.1, 1e-12)
	near(t, "two late", of(t, []float64{9, 9}, 10).Chance(), 0.02, 1e-12)        // a triangle of 0.2 by 0.2, halved
	near(t, "three late", of(t, []float64{9, 9, 9}, 10).Chance(), 0.0045, 1e-12) // 0.3³/6
	random := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{2, 4, 7, 12, exactUpTo} {
		times := make([]float64, n)
		for i := range times {
			times[i] = 0.2 + 0.8*random.Float64()
		}
		s := of(t, times, 1)
		want := 0.0
		for _, x := range times {
			want += x
		}
		const rounds = 200_000
		hits := 0
		for range rounds {
			sum := 0.0
			for range n {
				sum += random.Float64()
			}
			if sum >= want {
				hits++
			}
		}
		near(t, "counted chance", s.Chance(), float64(hits)/rounds, 0.006)
		if n >= 12 {
			near(t, "normal chance", s.Chance(), math.Erfc(s.Laplace()/math.Sqrt2)/2, 0.01)
		}
	}
}

func TestVerdict(t *testing.T) {
	begin := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	days := func(d ...int) (out []time.Time) {
		for _, x := range d {
			out = append(out, begin.Add(time.Duration(x)*day))
		}
		return out
	}
	for _, c := range []struct {
		name    string
		returns []time.Time
		end     int
		want    Verdict
	}{
		{"none", nil, 200, Never},
		{"one", days(100), 200, TooFew},
		{"three in the last days", days(197, 198, 199), 200, TooFew},
		{"gaps of 55, 40 and 19 days", days(146, 201, 241, 260), 269, Faster},
		{"the same in another order", days(241, 146, 260, 201), 269, Faster},
		{"at the beginning only", days(3, 7, 12, 30), 300, Slower},
		{"evenly", days(40, 80, 120, 160), 200, Steady},
	} {
		s, err := New(begin, c.returns, begin.Add(time.Duration(c.end)*day))
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Verdict(); got != c.want {
			t.Errorf("%s: %s, not %s (chance %v)", c.name, got, c.want, s.Chance())
		}
	}
}

// With a steady rate a trend is told about as often as it may be by chance, and no oftener.
func TestFalseAlarms(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const rounds = 20_000
	for _, n := range []int{Fewest, 8, 25} {
		alarms := 0
		for range rounds {
			times := make([]float64, n)
			for i := range times {
				times[i] = 1 - random.Float64() // never 0
			}
			if v := of(t, times, 1).Verdict(); v == Faster || v == Slower {
				alarms++
			}
		}
		if share := float64(alarms) / rounds; share > 0.115 || share < 0.085 {
			t.Errorf("%d returns: a trend is told in %v of all steady series, not in 0.1", n, share)
		}
	}
}

func TestRefused(t *testing.T) {
	begin := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	if _, err := New(begin, nil, begin); !errors.Is(err, ErrSpan) {
		t.Errorf("no length: %v", err)
	}
	for _, r := range []time.Duration{0, -time.Hour, 11 * day} {
		if _, err := New(begin, []time.Time{begin.Add(r)}, begin.Add(10*day)); !errors.Is(err, ErrOrder) {
			t.Errorf("a return after %v: %v", r, err)
		}
	}
	if _, err := numbers([]float64{math.NaN()}, 1); !errors.Is(err, ErrOrder) {
		t.Errorf("not a number: %v", err)
	}
	if _, err := numbers(nil, math.Inf(1)); !errors.Is(err, ErrSpan) {
		t.Errorf("endless: %v", err)
	}
	if _, ok := of(t, []float64{1}, 2).Unbiased(); ok {
		t.Error("one return has a fit")
	}
	if _, ok := of(t, []float64{2, 2}, 2).Unbiased(); ok {
		t.Error("returns at the very end have a fit")
	}
}

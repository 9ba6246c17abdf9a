//go:build linux || darwin

package diag_test

import (
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/adapter/practice"
	"readback/diag/garage"
)

// TestWatchRates measures how many readings a second come of the running practice car, in fake time: over raw CAN at 500
// kbit/s, of which a tenth may be taken, and through a serial adapter at 115200 bit/s. The floors are half of what it was
// when it was written; a change of how values are asked for shows here.
func TestWatchRates(t *testing.T) {
	one := []string{"0C"}
	six := []string{"0C", "0D", "05", "04", "0F", "11"}
	two := []string{"0C", "0D", "05", "04", "0F", "11", "7E1:0D"}
	for _, c := range []struct {
		name   string
		place  adapter.Place
		driver func(*testing.T) adapter.Driver
		values []string
		floor  float64 // readings a second
	}{
		{"raw CAN, one value", "practice:runner-running", nil, one, 80},
		{"raw CAN, six values of a module", "practice:runner-running", nil, six, 230},
		{"raw CAN, values of two modules", "practice:runner-running", nil, two, 200},
		{"raw CAN, six identifiers", "practice:runner-uds", nil, six, 140},
		{"serial, one value", "serial:pipe", serialRunner, one, 45},
		{"serial, six values of a module", "serial:pipe", serialRunner, six, 180},
		{"serial, values of two modules", "serial:pipe", serialRunner, two, 100},
	} {
		synctest.Test(t, func(t *testing.T) {
			s := openStore(t)
			defer s.Close()
			driver := practice.Driver()
			if c.driver != nil {
				driver = c.driver(t)
			}
			v := openVisit(t, s, c.place, driver)
			defer v.Close()
			values, err := v.Offered(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			keys := chosen(t, values, c.values...)
			const span = 10 * time.Second
			before := v.Tally().Reads
			samples := watch(t, v, keys, span)
			answered := 0
			for _, x := range samples {
				if x.Raw != nil {
					answered++
				}
			}
			rate := float64(answered) / span.Seconds()
			t.Logf("%-34s %d values: %.1f readings/s in %.1f requests/s", c.name, len(keys), rate, float64(v.Tally().Reads-before)/span.Seconds())
			if rate < c.floor || answered < len(samples) {
				t.Errorf("%s: %.1f readings a second, %d of %d answered", c.name, rate, answered, len(samples))
			}
		})
	}
}

func serialRunner(t *testing.T) adapter.Driver {
	return pipeDriver{Driver: elm.Driver(), t: t, car: "runner-running"}
}

// TestWatchThroughPoorAdapters: an adapter that loses long answers still shows every value, asked for one by one.
func TestWatchThroughPoorAdapters(t *testing.T) {
	for _, car := range []string{"adapter-no-flow", "adapter-small-buffer", "adapter-narrow", "adapter-slow"} {
		synctest.Test(t, func(t *testing.T) {
			s := openStore(t)
			defer s.Close()
			v, err := diag.Open(t.Context(), diag.Options{Place: "serial:pipe", Drivers: []adapter.Driver{pipeDriver{Driver: elm.Driver(), t: t, car: car}}, Store: s})
			if err != nil {
				t.Fatalf("%s: %v", car, err)
			}
			defer v.Close()
			values, err := v.Offered(t.Context())
			if err != nil {
				t.Fatalf("%s: %v", car, err)
			}
			keys := chosen(t, values, "0C", "0D", "1F", "42", "46", "4E")
			told := map[diag.LiveKey]int{}
			for _, x := range watch(t, v, keys, 10*time.Second) {
				if x.State == garage.Yes {
					told[x.Key]++
				}
			}
			for _, k := range keys {
				if told[k] < 3 {
					t.Errorf("%s: %s came %d times", car, k, told[k])
				}
			}
		})
	}
}

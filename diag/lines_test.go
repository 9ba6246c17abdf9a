//go:build linux || darwin

package diag_test

import (
	"slices"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter/elm"
	"readback/diag/garage"
)

// TestLookOlderLine reads cars without CAN by the services of SAE J1979 alone: what must be found is the invented
// scenarios "pony" (ISO 9141-2) and "drover" (ISO 14230).
func TestLookOlderLine(t *testing.T) {
	for car, want := range map[string][]string{
		"pony": {"18DA10F1 P0113 stored", "18DA10F1 P0133 stored", "18DA10F1 P0171 stored", "18DA10F1 P0300 pending",
			"18DA10F1 P0420 pending", "18DA10F1 P0420 stored", "18DA18F1 P0715 stored"},
		"drover": {"18DA10F1 P0117 stored", "18DA10F1 P0190 pending", "18DA10F1 P0190 stored", "18DA10F1 P0243 pending"},
	} {
		t.Run(car, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				for range 2 { // the second time the car is known
					v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: car})
					look(t, v)
					r, _ := v.Record()
					var got []string
					for _, m := range r.Modules {
						if m.Protocol != "OBD" || m.Answered != garage.Yes {
							t.Errorf("%s speaks %s, answered %s", m.Request, m.Protocol, m.Answered)
						}
						for _, c := range m.Codes {
							for _, l := range c.Lists {
								got = append(got, m.Request.String()+" "+c.Code.String()+" "+l)
							}
						}
					}
					slices.Sort(got)
					if !slices.Equal(got, want) || !r.Complete {
						t.Errorf("codes %v, want %v; complete %v", got, want, r.Complete)
					}
					if tm := v.Timing(); tm.Limit == 0 || tm.Elapsed < tm.Limit {
						t.Errorf("it took %v, the least is %v", tm.Elapsed, tm.Limit)
					}
					v.Close()
				}
			})
		})
	}
}

// atTheLimit: a look over a serial line does not take less than the least, and not much more. Time is fake here, so
// nothing but the line, the adapter and the car takes any.
func atTheLimit(t *testing.T, v *diag.Visit) {
	t.Helper()
	tm := v.Timing()
	ratio := tm.Elapsed.Seconds() / tm.Limit.Seconds()
	t.Logf("%v, limit %v, ratio %.3f", tm.Elapsed, tm.Limit, ratio)
	if ratio < 1 || ratio > 1.15 {
		t.Errorf("it took %v, the least is %v: %.3f", tm.Elapsed, tm.Limit, ratio)
	}
}

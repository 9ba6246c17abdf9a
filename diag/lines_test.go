//go:build linux || darwin

package diag_test

import (
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter/elm"
	"readback/diag/garage"
)

// TestLookOlderLine reads cars without CAN: what must be found is the invented scenarios "pony" (ISO 9141-2, the services
// of SAE J1979 alone) and "drover" (ISO 14230, whose modules have codes besides that only their own lists name: P1402 by
// service 18, P1720 by 13 where the module refuses 18).
func TestLookOlderLine(t *testing.T) {
	for car, want := range map[string][]string{
		"pony": {"18DA10F1 OBD P0113 stored", "18DA10F1 OBD P0133 stored", "18DA10F1 OBD P0171 stored", "18DA10F1 OBD P0300 pending",
			"18DA10F1 OBD P0420 stored pending", "18DA18F1 OBD P0715 stored"},
		"drover": {"18DA10F1 KWP P0117 stored remembered-only", "18DA10F1 KWP P0190 stored pending there-now", "18DA10F1 KWP P0243 pending",
			"18DA10F1 KWP P1402 remembered-only", "18DA18F1 KWP P0715 stored remembered-only", "18DA18F1 KWP P1720 stored there-now"},
	} {
		t.Run(car, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				for range 2 { // the second time the car is known
					v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: car})
					look(t, v)
					r, _ := v.Record()
					for _, m := range r.Modules {
						if m.Answered != garage.Yes || m.CodesRead != garage.Yes {
							t.Errorf("%s answered %s, codes %s", m.Request, m.Answered, m.CodesRead)
						}
					}
					if got := lineCodes(v); !slices.Equal(got, want) || !r.Complete {
						t.Errorf("codes %q\nwant %q; complete %v", got, want, r.Complete)
					}
					if tm := v.Timing(); tm.Limit == 0 || tm.Elapsed < tm.Limit || tm.Elapsed > 15*time.Second {
						t.Errorf("it took %v, the least is %v", tm.Elapsed, tm.Limit)
					}
					v.Close()
				}
			})
		})
	}
}

// TestWatchOlderLine: on ISO 9141-2 a module is not asked at an address of its own, on ISO 14230 it is. Both tell their values.
func TestWatchOlderLine(t *testing.T) {
	for _, car := range []string{"pony", "drover"} {
		t.Run(car, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: car})
				defer v.Close()
				if _, err := v.Meet(t.Context(), ""); err != nil {
					t.Fatal(err)
				}
				values, err := v.Offered(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				units := map[string]int{}
				for _, x := range watch(t, v, chosen(t, values, "engine speed", "18DA18F1:05"), 5*time.Second) {
					units[x.Unit]++
					if x.State != garage.Yes || !x.Number {
						t.Errorf("sample %+v", x)
					}
				}
				if units["1/min"] < 3 || units["°C"] < 3 {
					t.Errorf("samples by unit %v", units)
				}
			})
		})
	}
}

// lineCodes are the codes of the newest record: module, protocol, code, the lists that name it, and what its own status
// byte says where it has one.
func lineCodes(v *diag.Visit) (out []string) {
	for _, m := range v.Modules() {
		for _, c := range m.Views {
			words := append([]string{m.Request.String(), m.Protocol, c.Record.Code.String()}, c.Record.Lists...)
			if c.Record.Status != nil {
				words = append(words, c.Describe.Verdict)
			}
			out = append(out, strings.Join(words, " "))
		}
	}
	slices.Sort(out)
	return out
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

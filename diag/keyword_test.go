//go:build linux || darwin

package diag_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter/elm"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
	"readback/diag/trace"
)

// A whole visit to a car of ISO 14230 over its simulated line. Services and their forms: ISO 14230-3, from memory; what
// must be found is the invented scenario "drover".
func TestLookKeyword(t *testing.T) {
	for _, line := range []string{"KWP fast", "KWP slow"} {
		t.Run(line, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: drover(t, `"line":"`+line+`"`)})
				defer v.Close()
				look(t, v)
				t.Logf("it took %v, the least is %v", v.Timing().Elapsed, v.Timing().Limit)

				engine := moduleAt(t, v, link.ID29(0x18DA10F1))
				for id, want := range map[string]string{"F190": "0TNDR03DX30001944", "F191": "TN3D-1120-B", "F197": "ENGINE"} {
					if got := engine.Identification[id]; got != want {
						t.Errorf("%s: %q, want %q", id, got, want)
					}
				}
				own := codeOf(t, engine, "P1402")
				// 28: stored and not there now (bits 5-6), an invalid signal (bits 0-3); nothing is kept with it.
				if own.Raw.String() != "140228" || len(own.Lists) != 0 || len(own.Snapshots) != 0 || len(own.Extended) != 1 || own.Extended[0].Text != "invalid signal" {
					t.Errorf("P1402: %+v", own)
				}
				both := codeOf(t, engine, "P0190")
				if both.Raw.String() != "0190E4" || !slices.Equal(both.Lists, []string{"stored", "pending"}) || len(both.Snapshots) != 1 || both.Extended[0].Text != "no signal" {
					t.Errorf("P0190: %+v", both)
				}
				gearbox := moduleAt(t, v, link.ID29(0x18DA18F1))
				if c := codeOf(t, gearbox, "P1720"); c.Raw.String() != "1720E8" || gearbox.Identification["F191"] != "TN3D-3310-A" {
					t.Errorf("P1720: %+v, %v", c, gearbox.Identification)
				}

				for _, r := range requests(v) {
					if !slices.Contains(harmless, r[0]) {
						t.Errorf("% X went out", r)
					}
				}
			})
		})
	}
}

// Nothing is changed on such a line, whatever was read there and said before: neither by the older way to erase (14 FF 00)
// nor by that of SAE J1979 (04). The reason is told.
func TestKeywordChangesNothing(t *testing.T) {
	for _, request := range []string{"18DA10F1 03 14 FF 00 55 55 55 55", "18DA10F1 01 04 55 55 55 55 55 55", "18DB33F1 01 04 55 55 55 55 55 55"} {
		synctest.Test(t, func(t *testing.T) {
			s := openStore(t)
			defer s.Close()
			v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: "drover"})
			defer v.Close()
			look(t, v)
			e := v.Explain(request, "")
			for _, k := range []gate.Key{gate.NotCharging, gate.SafetyRead, gate.Standing, gate.DriveOff, gate.Reach} {
				v.Say(k)
			}
			v.SayBack(strings.Join(e.Words[:], " "))
			before := len(requests(v))
			for _, err := range v.Send(t.Context(), e) {
				if err != nil {
					t.Fatal(err)
				}
			}
			if r := v.Result(); r.Sent || r.Outcome != garage.NeverSent || !strings.Contains(r.Reason, "line") || !strings.Contains(r.Reason, "Nothing was sent.") {
				t.Errorf("%s: sent %v, outcome %q, reason %q", request, r.Sent, r.Outcome, r.Reason)
			}
			if after := len(requests(v)); after != before {
				t.Errorf("%s: %d requests went out", request, after-before)
			}
		})
	}
}

// A module that does not speak ISO 14230-3, and one that refuses each of its services as not known (7F xx 11), keep what
// they have told by those of SAE J1979, and the look does not take long for it.
func TestKeywordNotSpoken(t *testing.T) {
	const refusing = `"refuse":[{"request":"18","nrc":"11"},{"request":"13","nrc":"11"},{"request":"1A","nrc":"11"}]`
	const without = `"kwp":null`
	for name, engine := range map[string]string{"silent": without, "refusing": refusing} {
		for _, line := range []string{"KWP fast", "KWP slow"} {
			t.Run(name+" "+line, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					s := openStore(t)
					defer s.Close()
					v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: drover(t, `"line":"`+line+`","modules":{"engine":{`+engine+`}}`)})
					defer v.Close()
					look(t, v)
					r, _ := v.Record()
					want := []string{"18DA10F1 OBD P0117 stored", "18DA10F1 OBD P0190 stored pending", "18DA10F1 OBD P0243 pending",
						"18DA18F1 KWP P0715 stored remembered-only", "18DA18F1 KWP P1720 stored there-now"}
					if got := lineCodes(v); !slices.Equal(got, want) || !r.Complete {
						t.Errorf("codes %q, complete %v", got, r.Complete)
					}
					if took := v.Timing().Elapsed; took > 25*time.Second {
						t.Errorf("it took %v", took)
					}
				})
			})
		}
	}
}

// What damage does to a line of the engine's, as the adapter shows it: header, data, checksum.
var lineDamages = map[string]func([]byte) []byte{
	"one byte lost": func(l []byte) []byte { return append(bytes.Clone(l[:8]), l[9:]...) },
	"its end lost":  func(l []byte) []byte { return append(bytes.Clone(l[:len(l)-5]), '\r') },
	"marked as bad": func(l []byte) []byte { return append(bytes.TrimRight(bytes.Clone(l), "\r"), " <DATA ERROR\r"...) },
}

// A damaged list is asked for again; when it never arrives whole it is told as damaged, and what the others say stays.
func TestKeywordDamaged(t *testing.T) {
	for list, service := range map[string]string{"its own": "58", "stored": "43", "pending": "47"} {
		for name, damage := range lineDamages {
			for _, n := range []int{1, -1} { // once, always
				t.Run(fmt.Sprintf("%s, %s, %d", list, name, n), func(t *testing.T) {
					synctest.Test(t, func(t *testing.T) {
						s := openStore(t)
						defer s.Close()
						done := 0
						spoil := func(l []byte) []byte {
							plain := bytes.ReplaceAll(l, []byte(" "), nil)
							at := bytes.Index(plain, []byte("F110"+service))
							if at != 2 || done == n {
								return l
							}
							done++
							return damage(plain)
						}
						v := openVisit(t, s, "serial:pipe", spoilDriver{Driver: elm.Driver(), t: t, car: "drover", spoil: spoil})
						defer v.Close()
						look(t, v)
						if done == 0 {
							t.Fatal("nothing was damaged")
						}
						r, _ := v.Record()
						engine := moduleAt(t, v, link.ID29(0x18DA10F1))
						want := garage.Yes
						if n < 0 {
							want = garage.Damaged
						}
						if engine.Answered != garage.Yes || engine.CodesRead != want || r.Complete != (n > 0) {
							t.Errorf("answered %s, codes %s, complete %v", engine.Answered, engine.CodesRead, r.Complete)
						}
						_ = codeOf(t, engine, "P0190") // by whichever list is whole
						if gearbox := moduleAt(t, v, link.ID29(0x18DA18F1)); gearbox.CodesRead != garage.Yes || len(gearbox.Views) != 2 {
							t.Errorf("gearbox: codes %s, %d of them", gearbox.CodesRead, len(gearbox.Views))
						}
						if took := v.Timing().Elapsed; took > 25*time.Second {
							t.Errorf("it took %v", took)
						}
					})
				})
			}
		}
	}
}

// An answer that tells that a module is there, and arrives damaged: asked again, it is found; when it never arrives whole,
// the reading does not pass for a complete one, and where nothing else answers, not for silence.
func TestKeywordFoundDamaged(t *testing.T) {
	for _, alone := range []bool{false, true} {
		for _, n := range []int{1, -1} {
			t.Run(fmt.Sprintf("alone %v, %d", alone, n), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					s := openStore(t)
					defer s.Close()
					car := "drover"
					if alone {
						car = drover(t, `"modules":{"gearbox":null}`)
					}
					done, open := 0, false
					spoil := func(l []byte) []byte {
						plain := bytes.ReplaceAll(l, []byte(" "), nil)
						if !open || done == n || bytes.Index(plain, []byte("F1104100")) != 2 {
							return l
						}
						done++
						return lineDamages["one byte lost"](plain)
					}
					v := openVisit(t, s, "serial:pipe", spoilDriver{Driver: elm.Driver(), t: t, car: car, spoil: spoil})
					defer v.Close()
					open = true // the adapter has found the line
					var err error
					for _, e := range v.Look(t.Context(), "") {
						err = e
					}
					if done == 0 {
						t.Fatal("nothing was damaged")
					}
					switch r, ok := v.Record(); {
					case alone && n < 0:
						if ok || !link.Damaged(err) {
							t.Errorf("a record: %v, error %v", ok, err)
						}
					case err != nil || r.Complete != (n > 0) || len(r.Modules) != map[bool]int{true: 1, false: 2}[alone || n < 0]:
						t.Errorf("%d modules, complete %v, error %v", len(r.Modules), r.Complete, err)
					}
				})
			})
		}
	}
}

// A module that needs longer says so (7F xx 78) and is waited for.
func TestKeywordSlowModule(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: drover(t, `"modules":{"gearbox":{"work":700}}`)})
		defer v.Close()
		look(t, v)
		if c := codeOf(t, moduleAt(t, v, link.ID29(0x18DA18F1)), "P1720"); c.Raw.String() != "1720E8" {
			t.Errorf("P1720: %+v", c)
		}
	})
}

// drover is a file of that scenario with changes.
func drover(t *testing.T, changes string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "car.json")
	if err := os.WriteFile(file, []byte(`{"version":1,"base":"drover",`+changes+`}`), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func codeOf(t *testing.T, m diag.ModuleView, code string) garage.CodeRecord {
	t.Helper()
	for _, c := range m.Codes {
		if c.Code.String() == code {
			return c
		}
	}
	t.Errorf("%s has no %s", m.Name, code)
	return garage.CodeRecord{}
}

// requests are the messages that left.
func requests(v *diag.Visit) (out [][]byte) {
	for _, e := range v.Conversation() {
		if e.Level == trace.Message && e.Direction == bus.Out && len(e.Data) > 0 {
			out = append(out, e.Data)
		}
	}
	return out
}

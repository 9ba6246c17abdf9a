package elm

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/dtc"
	"readback/diag/kwp"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/simcar"
)

// slack is what a visit allows an adapter that does its own waiting.
const clientSlack = 2 * time.Second

func names(codes []dtc.Code) string {
	var out []string
	for _, c := range codes {
		out = append(out, c.String())
	}
	return strings.Join(out, " ")
}

// variant is a practice car with something changed.
func variant(t *testing.T, patch string) *simcar.Car {
	t.Helper()
	file := filepath.Join(t.TempDir(), "car.json")
	if err := os.WriteFile(file, []byte(patch), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := simcar.LoadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return simcar.New(s)
}

// All five lines: found by the adapter's own search, codes and the number of the car whole, one module alone where the
// line has that.
func TestEveryLine(t *testing.T) {
	for _, c := range []struct {
		line, protocol string
		one            bool
	}{
		{"J1850 PWM", "SAE J1850 PWM, 41.6 kbit/s", true},
		{"J1850 VPW", "SAE J1850 VPW, 10.4 kbit/s", true},
		{"ISO 9141-2", "ISO 9141-2, 10.4 kbit/s", false},
		{"KWP slow", "ISO 14230-4 (slow start), 10.4 kbit/s", true},
		{"KWP fast", "ISO 14230-4 (fast start), 10.4 kbit/s", true},
	} {
		t.Run(c.line, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				a, _, err := plugIn(t, variant(t, `{"base":"pony","line":"`+c.line+`"}`), simcar.SerialOptions{}, Options{})
				if err != nil {
					t.Fatal(err)
				}
				if got := a.Abilities().Protocol; got != c.protocol {
					t.Errorf("protocol %q", got)
				}
				ask := func(to link.Address, request ...byte) string {
					send(t, a.Link(), link.Message{Address: to, Data: request, Wait: 200 * time.Millisecond})
					messages, errs := collect(t, a.Link(), 3*time.Second)
					var got []string
					for _, m := range messages {
						if m.Begun == 0 {
							got = append(got, text(m.Address.Answer, m.Data))
						}
					}
					return strings.Join(append(got, troubles(errs)...), "|")
				}
				number := "490201" + typed([]byte("0TNPN99S4X0000622"))
				if got := ask(a.Everyone(), 0x09, 0x02); got != "18DAF110 "+number+"|18DAF118 "+number {
					t.Errorf("number: %s", got)
				}
				if got := ask(a.Everyone(), 0x03); got != "18DAF110 43011301330171042000000000|18DAF118 43071500000000" {
					t.Errorf("codes: %s", got)
				}
				if !c.one {
					return
				}
				if got := ask(link.AtHeader(0x18), 0x01, 0x05); got != "18DAF118 410541" {
					t.Errorf("one module: %s", got)
				}
				if got := ask(a.Everyone(), 0x01, 0x05); got != "18DAF110 41055A|18DAF118 410541" {
					t.Errorf("all again: %s", got)
				}
			})
		})
	}
}

// The client of SAE J1979 over ISO 9141-2: it knows nothing of the line but that lists of codes have no number.
func TestOBDClientOnTheLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := onLine(t, "pony", simcar.SerialOptions{BitRate: 38400})
		r := link.NewRouter(a.Link())
		defer r.Close()
		p := r.Peer(a.Everyone())
		c := obd.New(p, a.Everyone(), obd.Options{Slack: clientSlack})
		raw, err := c.Ask(t.Context(), []byte{0x03})
		if err != nil {
			t.Fatal(err)
		}
		want := map[link.ID]string{link.AtHeader(0x10).Answer: "P0113 P0133 P0171 P0420", link.AtHeader(0x18).Answer: "P0715"}
		for id, answer := range raw {
			codes, err := obd.DecodeCodesSerial(answer.Value)
			if got := names(codes); err != nil || answer.Err != nil || got != want[id] {
				t.Errorf("%s: %s, %v, %v", id, got, err, answer.Err)
			}
			delete(want, id)
		}
		if len(want) > 0 {
			t.Errorf("no codes of %v", want)
		}
		info, err := c.Info(t.Context(), 0x02)
		if err != nil || len(info) != 2 {
			t.Fatalf("number of the car: %v, %v", info, err)
		}
		for id, x := range info {
			if x.Err != nil || !slices.Equal(x.Value.Items, []string{"0TNPN99S4X0000622"}) {
				t.Errorf("%s: %+v", id, x)
			}
		}
	})
}

// The client of ISO 14230-3 with one module after another, as a visit reads them, and an erase that goes out once.
func TestKWPClientOnTheLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := onLine(t, "drover", simcar.SerialOptions{BitRate: 38400})
		r := link.NewRouter(a.Link())
		defer r.Close()
		want := map[byte]string{0x10: "P0117 P0190 P1402", 0x28: "C1095 C1145", 0x40: "B1318"}
		client := func(target byte) *kwp.Client {
			to := link.AtHeader(target)
			return kwp.New(r.Peer(to), to, kwp.Options{Slack: clientSlack})
		}
		for _, target := range []byte{0x10, 0x28, 0x40} {
			list, err := client(target).CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupAll)
			var codes []dtc.Code
			for _, x := range list {
				codes = append(codes, x.Code)
			}
			if err != nil || names(codes) != want[target] {
				t.Errorf("%02X: %s, %v", target, names(codes), err)
			}
		}
		c := client(0x28)
		if p, err := c.Plate(t.Context(), 0x97); err != nil || p.Text != "BRAKES" {
			t.Errorf("plate %+v, %v", p, err)
		}
		s, err := c.StatusOf(t.Context(), dtc.From2(0x51, 0x45))
		if symptom, _ := s.Status.Symptom(); err != nil || !s.Known || s.Status.Storage() != kwp.Present || symptom != "no signal" {
			t.Errorf("status %+v, %v", s, err)
		}
		if f, err := c.Frozen(t.Context(), 0, dtc.From2(0x50, 0x95)); err != nil || len(f.Raw) != 7 {
			t.Errorf("freeze frame %+v, %v", f, err)
		}
		var negative *kwp.NegativeError
		if _, err := c.Local(t.Context(), 0x99); !errors.As(err, &negative) || negative.Code != 0x31 {
			t.Errorf("value: %v", err)
		}
		answer, err := client(0x10).Do(t.Context(), kwp.ClearRequest(kwp.GroupAll))
		if group, echoed, e := kwp.DecodeClear(answer); err != nil || e != nil || !echoed || group != kwp.GroupAll {
			t.Errorf("erase: %X, %v", answer, err)
		}
		if list, err := client(0x10).CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupAll); err != nil || len(list) != 0 {
			t.Errorf("after the erase: %v, %v", list, err)
		}
		var silence *link.SilenceError
		to := link.AtHeader(0x50)
		if _, err := kwp.New(r.Peer(to), to, kwp.Options{Slack: clientSlack}).CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupAll); !errors.Is(err, link.ErrNotSent) || !errors.As(err, &silence) {
			t.Errorf("nobody there: %v", err)
		}
	})
}

package obd_test

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/simcar"
)

// drive runs a test against a practice car, frame by frame. The car is written from the standard without this package.
func drive(t *testing.T, scenario string, test func(t *testing.T, l link.Link)) {
	synctest.Test(t, func(t *testing.T) {
		s, err := simcar.Load(scenario)
		if err != nil {
			t.Fatal(err)
		}
		mine, cars := bus.Pair()
		ctx, stop := context.WithCancel(t.Context())
		served := make(chan error)
		go func() { served <- simcar.New(s).Serve(ctx, cars) }()
		l := isotp.New(mine, isotp.Options{})
		defer func() {
			if err := l.Close(); err != nil {
				t.Error(err)
			}
			stop()
			if err := <-served; err != nil {
				t.Error(err)
			}
		}()
		test(t, l)
	})
}

func texts[T fmt.Stringer](list []T) string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = x.String()
	}
	return strings.Join(out, ", ")
}

// Everything that the petrol car offers by the services of SAE J1979.
func TestRunner(t *testing.T) {
	drive(t, "runner-running", func(t *testing.T, l link.Link) {
		ctx, c := t.Context(), obd.New(l, link.Functional11(), obd.Options{})
		offered, err := c.Offered(ctx)
		if err != nil || len(offered) != 2 {
			t.Fatalf("%v, %v", offered, err)
		}
		var all []byte
		for _, p := range slices.Sorted(maps.Keys(offered[engine].Value)) {
			if p%0x20 != 0 {
				all = append(all, p)
			}
		}
		told := map[byte]string{}
		for six := range slices.Chunk(all, 6) {
			got, err := c.Current(ctx, six...)
			if err != nil || got[engine].Err != nil || len(got[engine].Value) != len(six) {
				t.Fatalf("% X: %v, %v", six, got, err)
			}
			for i, m := range got[engine].Value {
				if m.Parameter != six[i] || m.Name == "" || len(m.Readings) == 0 {
					t.Errorf("%02X: %+v", six[i], m)
				}
				told[m.Parameter] = texts(m.Readings)
			}
		}
		for p, want := range map[byte]string{
			0x05: "40 °C", 0x0C: "780 1/min", 0x10: "2.50 g/s", 0x15: "sensor voltage: 0.450 V", 0x32: "-25.00 Pa", 0x3C: "435.0 °C", 0x42: "14.20 V", 0x63: "160 Nm",
			0x34: "air to fuel, 1 is balanced: 1.000, sensor current: 0.000 mA", 0x9D: "by the engine: 0.20 g/s, by the vehicle: 0.20 g/s", 0xA6: "68214.0 km",
			0x03: "system 1: regulated by the oxygen sensor, system 2: not told", 0x51: "petrol",
		} {
			if told[p] != want {
				t.Errorf("%02X tells %q, want %q", p, told[p], want)
			}
		}
		if len(all) != 44 {
			t.Errorf("%d parameters: % X", len(all), all)
		}

		frozen, err := c.Frozen(ctx, 0)
		if f := frozen[engine].Value; err != nil || f.Code.Name() != "P0442" || len(f.Values) != 14 || !frozen[gearbox].Value.Code.IsZero() {
			t.Errorf("%+v, %v", frozen, err)
		}
		ready, err := c.Readiness(ctx)
		if m := ready[engine].Value; err != nil || !m.Lamp || m.Codes != 1 || m.Compression || len(m.Fitted) != 8 || len(m.Incomplete()) != 0 {
			t.Errorf("%+v, %v", ready, err)
		}
		codes, err := c.Codes(ctx)
		if x := codes[engine]; err != nil || texts(x.Stored) != "P0442" || texts(x.Pending) != "P0171, P0442" || texts(x.Permanent) != "P0442" || len(codes[gearbox].Stored) != 0 {
			t.Errorf("%+v, %v", codes, err)
		}

		monitors, err := c.MonitorsOffered(ctx)
		if err != nil || len(monitors) != 1 {
			t.Fatalf("%v, %v", monitors, err)
		}
		verdicts := map[obd.Verdict][]byte{}
		for _, id := range slices.Sorted(maps.Keys(monitors[engine].Value)) {
			if id%0x20 == 0 {
				continue
			}
			got, err := c.SelfTests(ctx, id)
			if err != nil || got[engine].Err != nil {
				t.Fatalf("%02X: %v, %v", id, got, err)
			}
			for _, x := range got[engine].Value {
				if !x.Described || x.Name == "" || x.Monitor != id {
					t.Errorf("%+v", x)
				}
				verdicts[x.Verdict] = append(verdicts[x.Verdict], id)
			}
		}
		if fmt.Sprintf("%X", verdicts[obd.Above]) != "3B" || fmt.Sprintf("%X", verdicts[obd.NoResult]) != "3C" || len(verdicts[obd.Within]) != 11 || len(verdicts) != 3 {
			t.Errorf("%X", verdicts)
		}

		info, err := c.InfoOffered(ctx)
		if err != nil {
			t.Fatal(err)
		}
		var lines []string
		for _, kind := range slices.Sorted(maps.Keys(info[engine].Value)) {
			got, err := c.Info(ctx, kind)
			x := got[engine]
			if err != nil || x.Err != nil {
				t.Fatalf("%02X: %v, %v", kind, got, err)
			}
			line := x.Value.Name + " " + strings.Join(x.Value.Items, " ")
			if k := x.Value.Tracking; k != nil {
				ratio, _ := k.Tests[0].Ratio()
				line += fmt.Sprintf("%d/%d %s %.2f", k.Conditions, k.Starts, k.Tests[0].Key, ratio)
			}
			lines = append(lines, line)
		}
		want := "vehicle identification number 0TNRN21S6M0001873; calibration name TN2REN0722; check value of the software 3C910BE4; " +
			"self-tests in use 902/2417 catalyst1 0.68; name of the module ECM-EngineControl"
		if got := strings.Join(lines, "; "); got != want {
			t.Errorf("%s\nwant %s", got, want)
		}
	})
}

// The same car by the identifiers of J1979-2; the older services are silent when all modules are asked.
func TestRunnerOnUDS(t *testing.T) {
	drive(t, "runner-uds", func(t *testing.T, l link.Link) {
		all := obd.New(l, link.Functional11(), obd.Options{})
		if p, err := all.Supported(t.Context()); err != nil || len(p) != 0 {
			t.Errorf("%v, %v", p, err)
		}
		c := obd.New(l, link.Physical(link.ID11(0x7E0), engine), obd.Options{Transfer: 1})
		for id, want := range map[uint16]string{
			0xF405: "coolant temperature: 34 °C",
			0xF401: "monitors since the codes were erased: lamp: on, stored codes: 1, without a result yet: none",
			0xF63B: "tank venting, leak of 1.0 mm: above its limit",
			0xF802: "vehicle identification number: 0TNRN21S6M0001873",
			0xF808: "self-tests in use: 9",
			0xF600: "offers 3",
		} {
			got, err := c.Ask(t.Context(), []byte{0x22, byte(id >> 8), byte(id)})
			if err != nil || got[engine].Err != nil {
				t.Errorf("%04X: %v, %v", id, got, err)
				continue
			}
			x, err := obd.DecodeIdentifier(id, got[engine].Value[3:])
			if err != nil {
				t.Errorf("%04X: %v", id, err)
				continue
			}
			name, _ := obd.IdentifierName(id)
			var told string
			switch {
			case x.Parameter != nil:
				told = name + ": " + texts(x.Parameter.Readings)
			case x.Tests != nil:
				told = name + ": " + x.Tests[0].Verdict.String()
			case x.Info != nil && x.Info.Tracking != nil:
				told = fmt.Sprintf("%s: %d", name, len(x.Info.Tracking.Tests))
			case x.Info != nil:
				told = name + ": " + strings.Join(x.Info.Items, " ")
			default:
				told = fmt.Sprint("offers ", len(x.Offered))
			}
			if told != want {
				t.Errorf("%04X: %s, want %s", id, told, want)
			}
		}
	})
}

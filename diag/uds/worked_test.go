package uds_test

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/dtc"
	"readback/diag/uds"
	"readback/testdata"
)

// worked is one request and its answers, with what they mean; Source says who decoded it.
type worked struct {
	Kind, Request, Bytes, Source string
	Expect                       map[string]any
}

// Every worked example of this service is asked of a scripted module that answers with the published bytes.
func TestWorkedExamples(t *testing.T) {
	var all []worked
	if err := json.Unmarshal(testdata.UDSWorked, &all); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, w := range all {
		if w.Kind != "uds" {
			continue
		}
		n++
		t.Run(w.Request+" "+w.Source, func(t *testing.T) { synctest.Test(t, func(t *testing.T) { ask(t, w) }) })
	}
	if n != 12 {
		t.Errorf("%d examples", n)
	}
}

func ask(t *testing.T, w worked) {
	var answers []event
	for i, s := range strings.Split(w.Bytes, "|") {
		b, err := hex.DecodeString(s)
		if err != nil {
			t.Fatal(err)
		}
		answers = append(answers, event{after: time.Duration(i+1) * 10 * ms, data: b})
	}
	m := newModule(func(int, []byte) []event { return answers })
	c := client(m)
	want := func(key string) string { return fmt.Sprint(w.Expect[key]) }
	same := func(key string, got any) {
		t.Helper()
		if fmt.Sprint(got) != want(key) {
			t.Errorf("%s is %v, want %s", key, got, want(key))
		}
	}
	codes := func(got []string, err error) {
		t.Helper()
		if err != nil || fmt.Sprint(got) != want("codes") {
			t.Errorf("%v, %v, want %s", got, err, want("codes"))
		}
	}
	switch request := strings.ReplaceAll(w.Request, " ", ""); request {
	case "1003":
		timing, err := c.Session(t.Context(), uds.ExtendedSession)
		if err != nil {
			t.Fatal(err)
		}
		same("P2ms", timing.P2.Milliseconds())
		same("P2starms", timing.P2Star.Milliseconds())
	case "1902FF", "190284":
		l, err := c.CodesByStatus(t.Context(), dtc.Status(m.byteOf(t, request[4:])))
		codes(listed(l.Records), err)
	case "190A":
		l, err := c.Supported(t.Context())
		codes(listed(l.Records), err)
	case "190101":
		count, err := c.CountCodes(t.Context(), dtc.TestFailed)
		if err != nil {
			t.Fatal(err)
		}
		same("count", count.Count)
		if name, _ := uds.FormatName(count.Format); !strings.HasPrefix(name, want("format")) {
			t.Errorf("format %s, want %s", name, want("format"))
		}
	case "1914":
		counters, err := c.Counters(t.Context())
		var got []string
		for _, x := range counters {
			got = append(got, fmt.Sprintf("[%s fdc %d]", x.Code, x.Value))
		}
		codes(got, err)
	case "194233FF1E", "195533", "195633FE":
		var g uds.Group
		var err error
		switch request {
		case "194233FF1E":
			g, err = c.GroupCodes(t.Context(), 0x33, 0xFF, 0x1E)
		case "195533":
			g, err = c.GroupPermanent(t.Context(), 0x33)
		case "195633FE":
			g, err = c.GroupReadiness(t.Context(), 0x33, 0xFE)
		}
		var got []string
		for _, r := range g.Records {
			s := fmt.Sprintf("[%s %02X", r.Code, byte(r.Status))
			if r.Severity != 0 {
				s += fmt.Sprintf(" sev %02X", r.Severity)
			}
			got = append(got, s+"]")
		}
		codes(got, err)
		if name, _ := uds.FunctionalGroupName(g.Group); name != "Emissions-system group" || g.Format != uds.FormatJ2012v4 || request == "195633FE" && g.Readiness != 0xFE {
			t.Errorf("head of the list: %+v", g)
		}
	case "14FFFFFF":
		pending := 0
		for x, err := range c.Answers(t.Context(), uds.ClearRequest(uds.GroupAll)) {
			if err != nil {
				t.Fatal(err)
			}
			if x.Data[0] == 0x7F {
				pending++
			} else {
				same("cleared", bytes.Equal(x.Data, []byte{0x54}))
			}
		}
		same("pending", pending)
	case "14FFFF33":
		_, err := c.Do(t.Context(), uds.ClearRequest(uds.GroupEmissions))
		var refused *uds.NegativeError
		if !errors.As(err, &refused) {
			t.Fatal(err)
		}
		same("nrc", refused.Code.Name())
	case "22F190":
		b, err := c.ReadData(t.Context(), 0xF190)
		if err != nil {
			t.Fatal(err)
		}
		same("vin", uds.PlateText(0xF190, b))
	default:
		t.Fatalf("no check for %s", w.Request)
	}
	if sent := strings.ToUpper(hex.EncodeToString(m.sent[0].Data)); sent != strings.ReplaceAll(w.Request, " ", "") || m.requests() != 1 {
		t.Errorf("sent %s, %d times", sent, m.requests())
	}
}

func (m *module) byteOf(t *testing.T, s string) byte {
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != 1 {
		t.Fatalf("%q is no byte", s)
	}
	return b[0]
}

func listed(records []uds.CodeStatus) []string {
	var out []string
	for _, r := range records {
		out = append(out, fmt.Sprintf("[%s %02X]", r.Code, byte(r.Status)))
	}
	return out
}

// Requests as the clauses of ISO 14229-1 lay them out: all 29 report types of both editions among them.
func TestRequests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		code := dtc.From3(0x0A, 0x9B, 0x17)
		for want, ask := range map[string]func(c *uds.Client) error{
			"3E00":         func(c *uds.Client) error { return c.TesterPresent(t.Context()) },
			"1001":         func(c *uds.Client) error { _, err := c.Session(t.Context(), uds.DefaultSession); return err },
			"22F190":       func(c *uds.Client) error { _, err := c.ReadData(t.Context(), 0xF190); return err },
			"190108":       func(c *uds.Client) error { _, err := c.CountCodes(t.Context(), 0x08); return err },
			"1902AF":       func(c *uds.Client) error { _, err := c.CodesByStatus(t.Context(), 0xAF); return err },
			"19040A9B17FF": func(c *uds.Client) error { _, err := c.Snapshots(t.Context(), code, 0xFF, sizes); return err },
			"19060A9B1701": func(c *uds.Client) error { _, err := c.ExtendedData(t.Context(), code, 0x01, lengths); return err },
			"19090A9B17":   func(c *uds.Client) error { _, err := c.Severity(t.Context(), code); return err },
			"190A":         func(c *uds.Client) error { _, err := c.Supported(t.Context()); return err },
			"1914":         func(c *uds.Client) error { _, err := c.Counters(t.Context()); return err },
			"1915":         func(c *uds.Client) error { _, err := c.Permanent(t.Context()); return err },

			"1903":         func(c *uds.Client) error { _, err := c.SnapshotRecords(t.Context()); return err },
			"1905FF":       func(c *uds.Client) error { _, err := c.StoredData(t.Context(), 0xFF, sizes); return err },
			"1907C02F":     func(c *uds.Client) error { _, err := c.CountBySeverity(t.Context(), 0xC0, 0x2F); return err },
			"1908C02F":     func(c *uds.Client) error { _, err := c.CodesBySeverity(t.Context(), 0xC0, 0x2F); return err },
			"190B":         func(c *uds.Client) error { _, err := c.FirstFailed(t.Context()); return err },
			"190C":         func(c *uds.Client) error { _, err := c.FirstConfirmed(t.Context()); return err },
			"190D":         func(c *uds.Client) error { _, err := c.LastFailed(t.Context()); return err },
			"190E":         func(c *uds.Client) error { _, err := c.LastConfirmed(t.Context()); return err },
			"190F2F":       func(c *uds.Client) error { _, err := c.Mirror(t.Context(), 0x2F); return err },
			"19100A9B17FF": func(c *uds.Client) error { _, err := c.MirrorExtended(t.Context(), code, 0xFF, lengths); return err },
			"19112F":       func(c *uds.Client) error { _, err := c.CountMirror(t.Context(), 0x2F); return err },
			"19122F":       func(c *uds.Client) error { _, err := c.CountEmissions(t.Context(), 0x2F); return err },
			"19132F":       func(c *uds.Client) error { _, err := c.Emissions(t.Context(), 0x2F); return err },
			"191601":       func(c *uds.Client) error { _, err := c.ExtendedByNumber(t.Context(), 0x01, lengths); return err },
			"19172F15":     func(c *uds.Client) error { _, err := c.MemoryCodes(t.Context(), 0x2F, 0x15); return err },
			"19180A9B17FF15": func(c *uds.Client) error {
				_, err := c.MemorySnapshots(t.Context(), code, 0xFF, 0x15, sizes)
				return err
			},
			"19190A9B170115": func(c *uds.Client) error {
				_, err := c.MemoryExtended(t.Context(), code, 0x01, 0x15, lengths)
				return err
			},
			"191A02":     func(c *uds.Client) error { _, err := c.Supporting(t.Context(), 0x02); return err },
			"1942332FC0": func(c *uds.Client) error { _, err := c.GroupCodes(t.Context(), 0x33, 0x2F, 0xC0); return err },
			"1955D0":     func(c *uds.Client) error { _, err := c.GroupPermanent(t.Context(), 0xD0); return err },
			"1956FE01":   func(c *uds.Client) error { _, err := c.GroupReadiness(t.Context(), 0xFE, 0x01); return err },
			"24DD00":     func(c *uds.Client) error { _, err := c.Scaling(t.Context(), 0xDD00); return err },
		} {
			m := newModule(func(_ int, request []byte) []event { return []event{{data: []byte{0x7F, request[0], 0x31}}} })
			err := ask(client(m))
			var refused *uds.NegativeError
			if !errors.As(err, &refused) || refused.Code != uds.RequestOutOfRange {
				t.Errorf("%s: %v", want, err)
			}
			if got := strings.ToUpper(hex.EncodeToString(m.sent[0].Data)); got != want || m.requests() != 1 {
				t.Errorf("sent %s, want %s, %d times", got, want, m.requests())
			}
		}
	})
}

func sizes(id uint16) (int, bool) {
	n, ok := map[uint16]int{0xDD00: 3, 0xDD01: 1, 0xDD04: -1}[id]
	return n, ok
}

func lengths(record byte) (int, bool) {
	n, ok := map[byte]int{1: 1, 2: 1}[record]
	return n, ok
}

// The length of a value is not on the wire: what follows an unknown one stays raw, and nothing is lost.
func TestSnapshots(t *testing.T) {
	head := []byte{0x59, 0x04, 0x0A, 0x9B, 0x17, 0x2F}
	for _, c := range []struct {
		name string
		body string
		want string
	}{
		{"none", "", "[]"},
		{"a record without anything", "0000", "[{0  []}]"},
		{"two values", "0102DD0000A0F6DD016D", "[{1 dd0000a0f6dd016d [{56576 00a0f6} {56577 6d}]}]"},
		{"two records", "0101DD016D0201DD017F", "[{1 dd016d [{56577 6d}]} {2 dd017f [{56577 7f}]}]"},
		{"an unknown value", "0103DD016DDD0711220201DD017F", "[{1 dd016ddd0711220201dd017f [{56577 6d}]}]"},
		{"a length that does not fit", "0101DD0000A0", "[{1 dd0000a0 []}]"},
		{"a nonsense length", "0101DD0400A0", "[{1 dd0400a0 []}]"},
		{"an identifier cut short", "0102DD016DDD", "[{1 dd016ddd [{56577 6d}]}]"},
		{"filling", "0101DD016D000000", "[{1 dd016d [{56577 6d}]}]"},
		{"one byte of filling", "0101DD016D00", "[{1 dd016d [{56577 6d}]}]"},
	} {
		body, err := hex.DecodeString(c.body)
		if err != nil {
			t.Fatal(err)
		}
		got, err := uds.DecodeSnapshots(slices.Concat(head, body), sizes)
		if s := show(got); err != nil || s != c.want {
			t.Errorf("%s: %s, %v, want %s", c.name, s, err, c.want)
		}
	}
	var shape *uds.ShapeError
	for _, body := range [][]byte{nil, {1, 2}, {0x59, 0x04, 1, 2, 3}, append(slices.Clone(head), 0x01)} {
		if _, err := uds.DecodeSnapshots(body, sizes); !errors.As(err, &shape) {
			t.Errorf("% X: %v", body, err)
		}
	}
}

func show(snaps []uds.Snapshot) string {
	out := []string{}
	for _, s := range snaps {
		values := []string{}
		for _, x := range s.Data {
			values = append(values, fmt.Sprintf("{%d %x}", x.Identifier, x.Data))
		}
		out = append(out, fmt.Sprintf("{%d %x %v}", s.Record, s.Raw, values))
	}
	return fmt.Sprint(out)
}

func TestExtended(t *testing.T) {
	a := []byte{0x59, 0x06, 0x0A, 0x9B, 0x17, 0x2F, 1, 14, 2, 0, 9, 8, 7}
	got, err := uds.DecodeExtended(a, lengths)
	if err != nil || fmt.Sprint(got) != "[{1 [14]} {2 [0]} {9 [8 7]}]" {
		t.Errorf("%v, %v", got, err)
	}
	if got, err := uds.DecodeExtended(a[:6], lengths); err != nil || len(got) != 0 {
		t.Errorf("a code without records: %v, %v", got, err)
	}
	if got, err := uds.DecodeExtended(append(bytes.Clone(a[:6]), 1), lengths); err != nil || fmt.Sprint(got) != "[{1 []}]" {
		t.Errorf("a record shorter than it should be: %v, %v", got, err)
	}
	padded := []byte{0x59, 0x06, 0x0A, 0x9B, 0x17, 0x2F, 1, 14, 2, 0, 0, 0, 0}
	if got, err := uds.DecodeExtended(padded, lengths); err != nil || fmt.Sprint(got) != "[{1 [14]} {2 [0]}]" {
		t.Errorf("padding: %v, %v", got, err)
	}
	if _, err := uds.DecodeExtended(a[:5], lengths); err == nil {
		t.Error("an answer without a status was taken")
	}
}

// A module that fills the frame with zeros must not be taken to have one more code (a fault that python-udsoncan has an
// option for).
func TestZeroFilling(t *testing.T) {
	for n := range 6 {
		a := append([]byte{0x59, 0x02, 0xFF, 0x0A, 0x9B, 0x17, 0x24}, make([]byte, n)...)
		if l, err := uds.DecodeCodes(a); err != nil || len(l.Records) != 1 {
			t.Errorf("%d zeros: %v, %v", n, l.Records, err)
		}
	}
}

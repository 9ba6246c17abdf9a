package uds_test

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"readback/diag/dtc"
	"readback/diag/uds"
	"readback/testdata"
)

// example is one payload with the tree that py-uds decodes it to.
type example struct {
	Hex  string          `json:"hex"`
	Tree json.RawMessage `json:"tree"`
}

func examples(t *testing.T) []example {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(testdata.UDSExamples))
	if err != nil {
		t.Fatal(err)
	}
	var out []example
	for s := bufio.NewScanner(z); s.Scan(); {
		var e example
		if err := json.Unmarshal(s.Bytes(), &e); err != nil {
			t.Fatal(err)
		}
		out = append(out, e)
	}
	if len(out) != 175 {
		t.Fatalf("%d examples", len(out))
	}
	return out
}

// skipped are the payloads that this package has no decoder for, by service and report type, and why.
var skipped = map[string]string{
	"10": "a request; see TestSession", "14": "a request; see TestPending", "19": "a request; see TestRequests", "22": "a request; see TestRequests",
	"3E": "a request; see TestSilence", "85": "a request that this program does not send", "C5": "the answer to it",
	"54": "one byte, nothing to decode", "68": "the answer to a request that this program does not send", "7E": "nothing to decode",
	"59 03": "snapshot identification: not read", "59 05": "snapshots by record number: not read",
	"59 16": "extended data by record number: not read",
	"59 17": "memory of the maker's own: not read", "59 18": "memory of the maker's own: not read", "59 19": "memory of the maker's own: not read",
	"59 1A": "codes that have a certain extended record: not read",
}

func kindOf(b []byte) string {
	if b[0] == 0x59 {
		return fmt.Sprintf("59 %02X", b[1]&0x7F)
	}
	return fmt.Sprintf("%02X", b[0])
}

// Every example is decoded to what py-uds (MIT) says of it, or is skipped for a reason.
func TestExamples(t *testing.T) {
	decoded, left := map[string]int{}, map[string]int{}
	for _, e := range examples(t) {
		b, err := hex.DecodeString(e.Hex)
		if err != nil {
			t.Fatal(err)
		}
		k := kindOf(b)
		if skipped[k] != "" {
			left[k]++
			continue
		}
		decoded[k]++
		got, err := render(b)
		if err != nil {
			t.Errorf("%s: %v", e.Hex, err)
			continue
		}
		if want := flat(t, e.Tree); got != want {
			t.Errorf("%s:\n got %s\nwant %s", e.Hex, got, want)
		}
	}
	for k := range skipped {
		if left[k] == 0 {
			t.Errorf("%s is skipped and does not occur", k)
		}
	}
	total := 0
	for _, n := range decoded {
		total += n
	}
	if total != 57 {
		t.Errorf("%d examples were decoded: %v", total, decoded)
	}
}

// render decodes a payload and writes what it holds in one line, in the order of the bytes.
func render(b []byte) (string, error) {
	var out []string
	add := func(values ...any) {
		for _, v := range values {
			switch v := v.(type) {
			case []byte:
				out = append(out, fmt.Sprintf("%X", v))
			default:
				out = append(out, fmt.Sprint(v))
			}
		}
	}
	size := func(id uint16) (int, bool) {
		n, ok := map[uint16]int{0x9011: 1, 0x0100: 8, 0xF186: 1, 0xF18B: 4}[id]
		return n, ok
	}
	switch k := kindOf(b); k {
	case "50":
		t, err := uds.DecodeSession(b)
		add(t.P2.Milliseconds(), t.P2Star.Milliseconds())
		return strings.Join(out, " "), err
	case "59 01", "59 07":
		c, err := uds.DecodeCount(b)
		add(byte(c.Availability), c.Format, c.Count)
		return strings.Join(out, " "), err
	case "59 02", "59 0A", "59 0B", "59 0C", "59 0D", "59 0E", "59 15":
		l, err := uds.DecodeCodes(b)
		add(byte(l.Availability))
		for _, r := range l.Records {
			add(r.Code, byte(r.Status))
		}
		return strings.Join(out, " "), err
	case "59 04":
		snaps, err := uds.DecodeSnapshots(b, size)
		add(dtc.From3(b[2], b[3], b[4]), b[5])
		for _, s := range snaps {
			add(s.Record, len(s.Data))
			for _, x := range s.Data {
				add(x.Identifier, x.Data)
			}
		}
		return strings.Join(out, " "), err
	case "59 06":
		records, err := uds.DecodeExtended(b, func(byte) (int, bool) { return 0, false })
		add(dtc.From3(b[2], b[3], b[4]), b[5])
		for _, r := range records {
			add(r.Record, r.Data)
		}
		return strings.Join(out, " "), err
	case "59 08", "59 09":
		available, list, err := uds.DecodeSeverity(b)
		add(byte(available))
		for _, r := range list {
			add(r.Severity, r.Unit, r.Code, byte(r.Status))
		}
		return strings.Join(out, " "), err
	case "59 14":
		list, err := uds.DecodeCounters(b)
		for _, r := range list {
			add(r.Code, r.Value)
		}
		return strings.Join(out, " "), err
	case "59 42", "59 55", "59 56":
		g, err := uds.DecodeGroup(b)
		add(g.Group, byte(g.Availability))
		switch k {
		case "59 42":
			add(g.SeverityAvailability, g.Format)
		case "59 55":
			add(g.Format)
		case "59 56":
			add(g.Format, g.Readiness)
		}
		for _, r := range g.Records {
			if k == "59 42" {
				add(r.Severity)
			}
			add(r.Code, byte(r.Status))
		}
		return strings.Join(out, " "), err
	case "62":
		list, err := uds.DecodeData(b, size)
		for _, x := range list {
			add(x.Identifier, x.Data)
		}
		return strings.Join(out, " "), err
	default:
		return "", fmt.Errorf("no decoder for %s", k)
	}
}

var codeName = regexp.MustCompile(`^[PCBU][0-3][0-9A-F]{3}-[0-9A-F]{2}$`)

// member is one member of a JSON object, in its place.
type member struct {
	key   string
	value any
}

// ordered reads JSON and keeps the order of members: objects as []member, arrays as []any.
func ordered(t *testing.T, d *json.Decoder) any {
	t.Helper()
	token, err := d.Token()
	if err != nil {
		t.Fatal(err)
	}
	switch token {
	case json.Delim('{'):
		out := []member{}
		for d.More() {
			key := ordered(t, d).(string)
			out = append(out, member{key, ordered(t, d)})
		}
		ordered(t, d)
		return out
	case json.Delim('['):
		out := []any{}
		for d.More() {
			out = append(out, ordered(t, d))
		}
		ordered(t, d)
		return out
	}
	return token
}

// flat writes a tree of py-uds in one line, in the order of the bytes: codes by name, data as hex, all else as numbers.
func flat(t *testing.T, tree []byte) string {
	d := json.NewDecoder(bytes.NewReader(tree))
	d.UseNumber()
	var out []string
	var walk func(key string, v any)
	walk = func(key string, v any) {
		switch v := v.(type) {
		case []member:
			if len(v) == 2 && v[0].key == "raw" {
				inner := v[1].value.([]member)
				if strings.Contains(key, " and ") || key == "sessionParameterRecord" {
					walk("", inner)
					return
				}
				if strings.HasPrefix(key, "DID#") { // data of one byte, shown as bits
					n, err := v[0].value.(json.Number).Int64()
					if err != nil {
						t.Fatal(err)
					}
					out = append(out, fmt.Sprintf("%02X", n))
					return
				}
				walk("", v[0].value)
				return
			}
			for _, m := range v {
				if m.key != "RSID" && m.key != "SubFunction" {
					walk(m.key, m.value)
				}
			}
		case []any:
			if len(v) == 0 {
				return
			}
			if _, ok := v[0].([]member); ok {
				for _, x := range v {
					walk("", x)
				}
				return
			}
			if name, ok := v[len(v)-1].(string); ok {
				if codeName.MatchString(name) {
					out = append(out, name)
				} else {
					out = append(out, fmt.Sprint(v[0]))
				}
				return
			}
			if strings.HasPrefix(key, "P2*") || strings.HasSuffix(key, "Counter") { // raw, then scaled or signed
				out = append(out, fmt.Sprint(v[1]))
				return
			}
			hexed := ""
			for _, x := range v {
				n, err := x.(json.Number).Int64()
				if err != nil {
					t.Fatal(err)
				}
				hexed += fmt.Sprintf("%02X", n)
			}
			out = append(out, hexed)
		default:
			out = append(out, fmt.Sprint(v))
		}
	}
	walk("", ordered(t, d))
	return strings.Join(out, " ")
}

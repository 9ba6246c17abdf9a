package uds_test

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"

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

// skipped are the payloads that no request of this program can be or be answered by, and why.
var skipped = map[string]string{
	"1082": "opens the programming session, without an answer: never sent", "3EFF": "a sub-function that the standard does not have",
	"8582": "stops the storing of codes: never sent", "85C07D9DA89B158DAE102CBA0F": "a setting that the standard does not have",
	"7E40": "answers a sub-function that the standard does not have", "7EA3": "answers a sub-function that the standard does not have",
	"6879": "answers a control type that is never sent", "C502": "answers the stopping of codes", "C55A": "answers a setting that is never sent",
}

func kindOf(b []byte) string {
	if b[0] == 0x59 {
		return fmt.Sprintf("59 %02X", b[1]&0x7F)
	}
	return fmt.Sprintf("%02X", b[0])
}

// Every answer among the examples is decoded to what py-uds (MIT) says of it, every request is made from it; the few
// others are skipped for a reason.
func TestExamples(t *testing.T) {
	decoded, made, left := map[string]int{}, 0, map[string]bool{}
	for _, e := range examples(t) {
		b := unhex(t, e.Hex)
		if skipped[strings.ToUpper(e.Hex)] != "" {
			left[strings.ToUpper(e.Hex)] = true
			continue
		}
		if b[0]&0x40 == 0 {
			made++
			if got := request(t, e.Tree); !bytes.Equal(got, b) {
				t.Errorf("%s: made %X", e.Hex, got)
			}
			continue
		}
		decoded[kindOf(b)]++
		got, err := render(t, b)
		if err != nil {
			t.Errorf("%s: %v", e.Hex, err)
			continue
		}
		if want := flat(t, e.Tree); got != want {
			t.Errorf("%s:\n got %s\nwant %s", e.Hex, got, want)
		}
	}
	total := 0
	for _, n := range decoded {
		total += n
	}
	if len(left) != len(skipped) || made != 92 || total != 74 {
		t.Errorf("%d requests were made, %d answers decoded %v, %d skipped", made, total, decoded, len(left))
	}
}

// request makes a request of what a tree says of it.
func request(t *testing.T, tree []byte) []byte {
	t.Helper()
	var x map[string]any
	if err := json.Unmarshal(tree, &x); err != nil {
		t.Fatal(err)
	}
	// number is a value that may stand alone, beside its meaning, or over its bits.
	var number func(v any) int
	number = func(v any) int {
		switch v := v.(type) {
		case float64:
			return int(v)
		case []any:
			return number(v[0])
		case map[string]any:
			return number(v["raw"])
		}
		return 0
	}
	get := func(key string) byte { return byte(number(x[key])) }
	record := get("DTCSnapshotRecordNumber") | get("DTCStoredDataRecordNumber") | get("DTCExtDataRecordNumber") // one of them
	var out []byte
	switch sub := get("SubFunction"); get("SID") {
	case 0x10:
		out = []byte{0x10, sub}
	case 0x14:
		out = uds.ClearRequest(uint32(number(x["groupOfDTC"])))
		if _, has := x["MemorySelection"]; has {
			out = uds.ClearMemoryRequest(uint32(number(x["groupOfDTC"])), get("MemorySelection"))
		}
	case 0x19:
		code := number(x["DTC"])
		b, err := uds.CodesRequest{Report: uds.Report(sub & 0x7F), Status: dtc.Status(get("DTCStatusMask")), Severity: get("DTCSeverityMask"),
			Code: dtc.From3(byte(code>>16), byte(code>>8), byte(code)), Record: record, Memory: get("MemorySelection"),
			Group: get("FunctionalGroupIdentifier"), Readiness: get("DTCReadinessGroupIdentifier")}.Bytes()
		if err != nil {
			t.Error(err)
		}
		out = b
		if sub&0x80 != 0 {
			out = uds.Suppressed(b)
		}
	case 0x22:
		var ids []uint16
		for _, id := range x["DID"].([]any) {
			ids = append(ids, uint16(number(id)))
		}
		out = uds.DataRequest(ids...)
	case 0x3E:
		out = asking(t, func(ctx context.Context, c *uds.Client) { _ = c.TesterPresent(ctx) })
	case 0x85:
		var option []byte
		if r, has := x["DTCSettingControlOptionRecord"]; has {
			for _, v := range r.([]any) {
				option = append(option, byte(number(v)))
			}
		}
		out = uds.StoreAgainRequest(option...)
	}
	return out
}

// asking is what a client sends first.
func asking(t *testing.T, ask func(ctx context.Context, c *uds.Client)) (sent []byte) {
	synctest.Test(t, func(t *testing.T) {
		m := answers(0x7F, 0x3E, 0x11)
		ask(t.Context(), client(m))
		sent = m.sent[0].Data
	})
	return sent
}

// render decodes a payload and writes what it holds in one line, in the order of the bytes.
func render(t *testing.T, b []byte) (string, error) {
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
	case "54", "7E":
		// One byte, or two: the client takes it for its answer, and that is all it says.
		var err error
		synctest.Test(t, func(t *testing.T) {
			request := map[string][]byte{"54": uds.ClearRequest(uds.GroupAll), "7E": {0x3E, 0x80}}[k]
			_, err = client(answers(b...)).Do(t.Context(), request)
		})
		return "", err
	case "59 03":
		list, err := uds.DecodeSnapshotRecords(b)
		for _, r := range list {
			add(r.Code, r.Record)
		}
		return strings.Join(out, " "), err
	case "59 05":
		list, err := uds.DecodeStored(b, func(uint16) (int, bool) { return len(b) - 10, true })
		for _, r := range list {
			add(r.Record, r.Code, byte(r.Status), len(r.Data))
			for _, x := range r.Data {
				add(x.Identifier, x.Data)
			}
		}
		return strings.Join(out, " "), err
	case "59 16":
		list, err := uds.DecodeExtendedByNumber(b, func(byte) (int, bool) { return 0, false })
		add(b[2])
		for _, r := range list {
			add(r.Code, byte(r.Status), r.Data)
		}
		return strings.Join(out, " "), err
	case "59 17":
		l, err := uds.DecodeMemoryCodes(b)
		add(b[2], byte(l.Availability))
		for _, r := range l.Records {
			add(r.Code, byte(r.Status))
		}
		return strings.Join(out, " "), err
	case "59 18":
		snaps, err := uds.DecodeMemorySnapshots(b, func(uint16) (int, bool) { return len(b) - 11, true })
		add(b[2], dtc.From3(b[3], b[4], b[5]), b[6])
		for _, s := range snaps {
			add(s.Record, len(s.Data))
			for _, x := range s.Data {
				add(x.Identifier, x.Data)
			}
		}
		return strings.Join(out, " "), err
	case "59 19":
		records, err := uds.DecodeMemoryExtended(b, func(byte) (int, bool) { return 0, false })
		add(b[2], dtc.From3(b[3], b[4], b[5]), b[6])
		for _, r := range records {
			add(r.Record, r.Data)
		}
		return strings.Join(out, " "), err
	case "59 1A":
		l, err := uds.DecodeSupporting(b)
		add(byte(l.Availability), b[3])
		for _, r := range l.Records {
			add(r.Code, byte(r.Status))
		}
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

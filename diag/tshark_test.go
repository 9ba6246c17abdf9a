package diag_test

import (
	"cmp"
	"encoding/hex"
	"fmt"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"unicode"

	"readback/diag/adapter/practice"
	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/trace"
	"readback/diag/uds"
)

// tshark 4.0 (Debian 12) reads what a visit wrote. It puts ISO 15765-2 and ISO 14229-1 on a CAN file only when told to,
// and has one reassembly for all identifiers, so it gets each identifier's frames in one piece where it reassembles.
const (
	asISOTP   = "can.subdissector,iso15765"
	asPayload = "iso15765.subdissector,data"
	asUDS     = "iso15765.subdissector,uds"
	asOBD     = "iso15765.subdissector,obd-ii"
	complete  = "iso15765.message_type==0 || iso15765.reassembled.length"
)

// recorded is the conversation of one practice visit: a look, an erase and its read-back, a question to all modules.
func recorded(t *testing.T) (entries []trace.Entry) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		look(t, v)
		if r := prepare(t, v, ""); !r.Sent {
			t.Fatalf("the erase was not sent: %s", r.Reason)
		}
		for _, err := range v.Send(t.Context(), v.Explain("7DF 02 09 02 55 55 55 55 55", "")) {
			if err != nil {
				t.Fatal(err)
			}
		}
		entries = v.Conversation()
	})
	return entries
}

// file writes entries as the program does.
func file(t *testing.T, name string, entries []trace.Entry) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := trace.WriteFile(t.Context(), path, entries); err != nil {
		t.Fatal(err)
	}
	return path
}

// dissect runs tshark and returns its rows, one a frame, with the fields asked for.
func dissect(t *testing.T, path, filter string, as []string, fields ...string) [][]string {
	t.Helper()
	args := []string{"-n", "-r", path, "-T", "fields"}
	for _, a := range as {
		args = append(args, "-d", a)
	}
	if filter != "" {
		args = append(args, "-Y", filter)
	}
	for _, f := range fields {
		args = append(args, "-e", f)
	}
	var rows [][]string
	for line := range strings.Lines(run(t, "tshark", args...)) {
		line = strings.TrimSuffix(line, "\n")
		row := strings.Split(line, "\t")
		if len(row) != len(fields) {
			t.Fatalf("tshark: %d fields in %q, want %d", len(row), line, len(fields))
		}
		rows = append(rows, row)
	}
	return rows
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	c := exec.Command(name, args...)
	var said strings.Builder
	c.Stderr = &said
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s(go run ./cmd/dev test installs it)", name, strings.Join(args, " "), err, said.String())
	}
	return string(out)
}

// idOf is an identifier as tshark writes it: a decimal number, and the flag of the wide ones.
func idOf(t *testing.T, number, wide string) link.ID {
	t.Helper()
	n, err := strconv.ParseUint(number, 0, 32)
	if err != nil {
		t.Fatal(err)
	}
	if wide == "1" {
		return link.ID29(uint32(n))
	}
	return link.ID11(uint32(n))
}

// byIdentifier are the diagnostic frames, all of one identifier together and in their order.
func byIdentifier(entries []trace.Entry) []trace.Entry {
	var out []trace.Entry
	for _, e := range entries {
		if e.Level == trace.Frame && e.ID.Diagnostic() {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(a, b trace.Entry) int { return cmp.Compare(a.ID.String(), b.ID.String()) })
	return out
}

// said are the messages of our trace by identifier, as upper-case hex.
func said(entries []trace.Entry, keep func(trace.Entry) bool) map[link.ID][]string {
	out := map[link.ID][]string{}
	for _, e := range entries {
		if e.Level == trace.Message && keep(e) {
			out[e.ID] = append(out[e.ID], fmt.Sprintf("%X", e.Data))
		}
	}
	return out
}

func compareByID(t *testing.T, what string, got, want map[link.ID][]string) {
	t.Helper()
	for id, w := range want {
		if !slices.Equal(got[id], w) {
			t.Errorf("%s of %s:\n tshark %v\n trace  %v", what, id, got[id], w)
		}
	}
	for id := range got {
		if want[id] == nil {
			t.Errorf("%s: tshark has %d of %s, the trace none", what, len(got[id]), id)
		}
	}
}

func always(trace.Entry) bool { return true }

// TestTshark: every frame, identifier, message, service, data identifier, refusal and the identification number of a
// whole visit are the same for tshark as for our trace.
func TestTshark(t *testing.T) {
	entries := recorded(t)
	whole, sorted := file(t, "visit.pcapng", entries), file(t, "sorted.pcapng", byIdentifier(entries))
	t.Run("file", func(t *testing.T) { sameFile(t, whole, entries) })
	t.Run("frames", func(t *testing.T) { sameFrames(t, whole, entries) })
	t.Run("messages", func(t *testing.T) { sameMessages(t, sorted, entries) })
	t.Run("services", func(t *testing.T) { sameServices(t, sorted, entries) })
	t.Run("refusals", func(t *testing.T) { sameRefusals(t, sorted, entries) })
	t.Run("number", func(t *testing.T) { sameNumber(t, sorted) })
}

func sameFile(t *testing.T, path string, entries []trace.Entry) {
	frames := 0
	for _, e := range entries {
		if e.Level == trace.Frame {
			frames++
		}
	}
	about := run(t, "capinfos", "-M", "-c", "-E", "-o", path)
	for _, want := range []string{"Number of packets:   " + strconv.Itoa(frames) + "\n", "File encapsulation:  socketcan\n", "Strict time order:   True\n"} {
		if !strings.Contains(about, want) {
			t.Errorf("capinfos does not say %q:\n%s", want, about)
		}
	}
}

func sameFrames(t *testing.T, path string, entries []trace.Entry) {
	var want []string
	for _, e := range entries {
		if e.Level == trace.Frame {
			want = append(want, fmt.Sprintf("%d.%09d %s %X", e.At.Unix(), e.At.Nanosecond(), e.ID, e.Data))
		}
	}
	var got []string
	for _, r := range dissect(t, path, "", []string{"can.subdissector,data"}, "frame.time_epoch", "can.id", "can.flags.xtd", "data.data") {
		got = append(got, r[0]+" "+idOf(t, r[1], r[2]).String()+" "+strings.ToUpper(r[3]))
	}
	if len(got) != len(want) {
		t.Fatalf("tshark shows %d frames, the trace has %d", len(got), len(want))
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("frame %d is %s for tshark, %s in the trace", i+1, got[i], want[i])
		}
	}
}

func sameMessages(t *testing.T, path string, entries []trace.Entry) {
	got := map[link.ID][]string{}
	for _, r := range dissect(t, path, complete, []string{asISOTP, asPayload}, "can.id", "can.flags.xtd", "data.data") {
		id := idOf(t, r[0], r[1])
		all := strings.Split(strings.ToUpper(r[2]), ",") // the frame's own part comes before the whole
		got[id] = append(got[id], all[len(all)-1])
	}
	compareByID(t, "messages", got, said(entries, always))
}

// sameServices compares service, direction and the data identifiers of every message.
func sameServices(t *testing.T, path string, entries []trace.Entry) {
	got := map[link.ID][]string{}
	for _, r := range dissect(t, path, "uds", []string{asISOTP, asUDS}, "can.id", "can.flags.xtd", "uds.sid", "uds.reply", "uds.rdbi.data_identifier", "uds.err.sid") {
		id := idOf(t, r[0], r[1])
		got[id] = append(got[id], strings.Join(r[2:], " "))
	}
	want := map[link.ID][]string{}
	for _, e := range entries {
		if e.Level != trace.Message {
			continue
		}
		line := fmt.Sprintf("0x%02x 0x%02x ", e.Data[0]&^0x40, e.Data[0]>>6&1)
		switch e.Data[0] {
		case 0x22, 0x62:
			line += fmt.Sprintf("0x%02x%02x ", e.Data[1], e.Data[2])
		case 0x7F:
			line += fmt.Sprintf(" 0x%02x", e.Data[1])
		default:
			line += " "
		}
		want[e.ID] = append(want[e.ID], line)
	}
	compareByID(t, "services", got, want)
}

// sameRefusals compares the negative response codes by number and by name.
func sameRefusals(t *testing.T, path string, entries []trace.Entry) {
	got := map[link.ID][]string{}
	for _, r := range dissect(t, path, "uds.err.code", []string{asISOTP, asUDS}, "can.id", "can.flags.xtd", "uds.err.code", "_ws.col.Info") {
		_, name, ok := strings.Cut(strings.TrimSuffix(strings.TrimSpace(r[3]), ")"), "(SID: ")
		if !ok {
			t.Fatalf("tshark says %q", r[3])
		}
		id := idOf(t, r[0], r[1])
		got[id] = append(got[id], r[2]+" "+letters(cmp.Or(otherNames[name], name)))
	}
	want, kinds := map[link.ID][]string{}, map[uds.NRC]bool{}
	for _, e := range entries {
		if e.Level == trace.Message && e.Direction == bus.In && e.Data[0] == 0x7F {
			c := uds.NRC(e.Data[2])
			kinds[c] = true
			want[e.ID] = append(want[e.ID], fmt.Sprintf("0x%02x %s", byte(c), letters(c.Name())))
		}
	}
	compareByID(t, "refusals", got, want)
	if !kinds[uds.ResponsePending] || !kinds[uds.RequestOutOfRange] || !kinds[uds.SecurityAccessDenied] {
		t.Errorf("the visit had only the refusals %v", kinds)
	}
}

// otherNames are refusals that tshark names differently from ISO 14229-1 annex A.1.
var otherNames = map[string]string{
	"Request correctly received, but response is pending": "requestCorrectlyReceived-ResponsePending",
}

// letters makes names comparable that differ in blanks, hyphens and capitals only.
func letters(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
}

// sameNumber asks for the identification number as both standards carry it: service 09 and identifier F190.
func sameNumber(t *testing.T, path string) {
	const number = "0TNCE23E3P0004217" // of the invented scenario
	for _, c := range []struct {
		filter, as, field string
		text              func(string) string
	}{
		{"uds.rdbi.data_identifier==0xf190 && uds.reply==1", asUDS, "uds.rdbi.data_record", func(s string) string {
			b, err := hex.DecodeString(s)
			if err != nil {
				t.Error(err)
			}
			return string(b)
		}},
		{"obd-ii.VIN", asOBD, "obd-ii.VIN", func(s string) string { return s }},
	} {
		rows := dissect(t, path, c.filter, []string{asISOTP, c.as}, c.field)
		if len(rows) == 0 {
			t.Errorf("tshark finds no %s", c.field)
		}
		for _, r := range rows {
			if got := c.text(r[0]); got != number {
				t.Errorf("%s is %q for tshark, %q in the car", c.field, got, number)
			}
		}
	}
}

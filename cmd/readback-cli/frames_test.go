package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/garage"
	"readback/diag/trace"
)

// practiceRecording is the conversation of a look at the practice car.
func practiceRecording(t *testing.T) (entries []trace.Entry) {
	synctest.Test(t, func(t *testing.T) {
		s, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		v, err := diag.Open(t.Context(), diag.Options{Place: "practice:", Drivers: []adapter.Driver{practice.Driver()}, Store: s})
		if err != nil {
			t.Fatal(err)
		}
		defer v.Close()
		for _, err := range v.Look(t.Context(), "") {
			if err != nil {
				t.Fatal(err)
			}
		}
		entries = v.Conversation()
	})
	return entries
}

func writeRecording(t *testing.T, entries []trace.Entry) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "look.pcapng")
	if err := trace.WriteFile(t.Context(), path, entries); err != nil {
		t.Fatal(err)
	}
	return path
}

// conversation is the document of the command.
type conversation struct {
	File         string
	Conversation []exchangeLine
	Identifiers  []identifierLine
	Summary      framesSummary
}

func framesDocument(t *testing.T, out string) (d conversation) {
	t.Helper()
	document(t, out) // one document, nothing else
	if err := json.Unmarshal([]byte(out), &d); err != nil {
		t.Fatal(err)
	}
	return d
}

func TestFrames(t *testing.T) {
	t.Setenv("READBACK_HOME", t.TempDir())
	entries := practiceRecording(t)
	path := writeRecording(t, entries)
	frames := 0
	for _, e := range entries {
		if e.Level == trace.Frame {
			frames++
		}
	}
	code, out, errs := call(t, "", "--json", "frames", "--raw", path)
	d := framesDocument(t, out)
	if code != exitDone || errs != "" || d.File != path || d.Summary.Frames != frames || d.Summary.Exchanges != len(d.Conversation) || d.Summary.Problem != "" {
		t.Fatalf("exit %d, %s, %+v; %d frames recorded", code, errs, d.Summary, frames)
	}
	shown := 0
	for _, x := range d.Conversation {
		if (x.Outcome == "answered" || x.Outcome == "refused") != (x.TookMs != nil) {
			t.Errorf("exchange %d is %s, after %v", x.Number, x.Outcome, x.TookMs)
		}
		for _, m := range x.Messages {
			shown += len(m.Frames)
			if m.Summary == "" || m.ID == "" {
				t.Errorf("exchange %d: %+v", x.Number, m)
			}
		}
	}
	if shown+d.Summary.Other != frames {
		t.Errorf("%d frames in messages, %d others, %d recorded", shown, d.Summary.Other, frames)
	}
	if len(d.Identifiers) == 0 || slices.ContainsFunc(d.Identifiers, func(l identifierLine) bool { return l.ID >= "7" }) {
		t.Errorf("also on the bus: %+v", d.Identifiers)
	}

	code, out, _ = call(t, "", "frames", path)
	for _, want := range []string{"7E5/7ED: answered after ", "asked  22 F1 90  ", "refused after ", "Also on the bus", fmt.Sprintf("%d frames in ", frames)} {
		if !strings.Contains(out, want) {
			t.Errorf("the text does not say %q", want)
		}
	}
	if code != exitDone || strings.Contains(out, " > 7E5  ") {
		t.Errorf("exit %d, or frames without --raw", code)
	}
	if _, out, _ = call(t, "", "frames", "--raw", path); !strings.Contains(out, " > 7E5  ") {
		t.Error("no frames with --raw")
	}

	_, out, _ = call(t, "", "--json", "frames", "--module", "7ed", path)
	d = framesDocument(t, out)
	if len(d.Conversation) < 5 || len(d.Identifiers) != 0 {
		t.Errorf("%d exchanges, %d identifiers with one module", len(d.Conversation), len(d.Identifiers))
	}
	for _, x := range d.Conversation {
		if !slices.ContainsFunc(x.Messages, func(m messageLine) bool { return m.ID == "7E5" || m.ID == "7ED" }) {
			t.Errorf("exchange %d is not with the module", x.Number)
		}
	}
}

func TestFramesWithSignals(t *testing.T) {
	t.Setenv("READBACK_HOME", t.TempDir())
	entries := practiceRecording(t)
	path := writeRecording(t, entries)
	_, out, _ := call(t, "", "--json", "frames", path)
	l := framesDocument(t, out).Identifiers[0]
	var id uint32
	if _, err := fmt.Sscanf(l.ID, "%X", &id); err != nil {
		t.Fatal(err)
	}
	dbc := filepath.Join(t.TempDir(), "van.dbc")
	text := fmt.Sprintf("BO_ %d Motor: 8 X\n SG_ First : 0|8@1+ (1,0) [0|0] \"rpm\" X\n SG_ Bad : 0|0@1+ (1,0) [0|0] \"\" X\n", id)
	if err := os.WriteFile(dbc, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs := call(t, "", "--json", "frames", "--dbc", dbc, path)
	l = framesDocument(t, out).Identifiers[0]
	var first int
	fmt.Sscanf(l.Data[:2], "%X", &first)
	if code != exitDone || l.Name != "Motor" || len(l.Signals) != 1 || l.Signals[0] != (signalLine{"First", fmt.Sprint(first), "rpm", "", false}) {
		t.Errorf("exit %d, %+v", code, l)
	}
	if !strings.Contains(errs, "line 3: SG_: the number of bits is 0") {
		t.Errorf("says %q", errs)
	}
	if _, out, _ = call(t, "", "frames", "--dbc", dbc, path); !strings.Contains(out, fmt.Sprintf("First: %d rpm", first)) {
		t.Error("the text does not have the value")
	}
}

// A damaged recording is told as far as it goes, with one clear error.
func TestFramesDamaged(t *testing.T) {
	t.Setenv("READBACK_HOME", t.TempDir())
	path := writeRecording(t, practiceRecording(t))
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, c := range []struct {
		name string
		b    []byte
		code int
		said string
		rows bool
	}{
		{"cut.pcapng", whole[:len(whole)*2/3], exitNo, "cut off or damaged", true},
		{"text.pcapng", []byte("can0 7E0#021902FF"), exitNo, "not a pcapng file", false},
		{"empty.pcapng", nil, exitNo, "not a pcapng file", false},
	} {
		p := filepath.Join(dir, c.name)
		if err := os.WriteFile(p, c.b, 0o600); err != nil {
			t.Fatal(err)
		}
		code, out, errs := call(t, "", "--json", "frames", p)
		d := framesDocument(t, out)
		if code != c.code || !strings.Contains(errs, c.said) || !strings.Contains(errs, c.name) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%s: exit %d, %q", c.name, code, errs)
		}
		if (len(d.Conversation) > 0) != c.rows || d.Summary.Problem == "" {
			t.Errorf("%s: %d exchanges, problem %q", c.name, len(d.Conversation), d.Summary.Problem)
		}
	}
	for _, args := range [][]string{{"frames"}, {"frames", filepath.Join(dir, "none.pcapng")}, {"frames", "--module", "XYZ", path},
		{"frames", "--dbc", filepath.Join(dir, "none.dbc"), path}, {"frames", "--dbc", path, path}, {"frames", "--car", "nobody", path}} {
		if code, _, errs := call(t, "", args...); code != exitUse || errs == "" {
			t.Errorf("%v: exit %d, %q", args, code, errs)
		}
	}
}

// TestFramesTshark: tshark 4.0 (Debian 12) puts the same messages together on the same identifiers, and names the same
// services. It has one reassembly for all identifiers, so it gets each identifier's frames in one piece.
func TestFramesTshark(t *testing.T) {
	t.Setenv("READBACK_HOME", t.TempDir())
	entries := practiceRecording(t)
	_, out, _ := call(t, "", "--json", "frames", writeRecording(t, entries))
	want, services := map[string][]string{}, map[string][]string{}
	for _, x := range framesDocument(t, out).Conversation {
		for _, m := range x.Messages {
			if !m.Whole {
				continue
			}
			want[m.ID] = append(want[m.ID], m.Payload)
			services[m.ID] = append(services[m.ID], "0x"+strings.ToLower(x.Service))
		}
	}
	diagnostic := slices.DeleteFunc(slices.Clone(entries), func(e trace.Entry) bool {
		return e.Level != trace.Frame || !e.ID.Extended && e.ID.Value < 0x700
	})
	slices.SortStableFunc(diagnostic, func(a, b trace.Entry) int { return cmp.Compare(a.ID.String(), b.ID.String()) })
	path := writeRecording(t, diagnostic)
	dissect := func(filter, as string, fields ...string) (rows [][]string) {
		args := []string{"-n", "-r", path, "-T", "fields", "-d", "can.subdissector,iso15765", "-d", "iso15765.subdissector," + as, "-Y", filter, "-e", "can.id", "-e", "can.flags.xtd"}
		for _, f := range fields {
			args = append(args, "-e", f)
		}
		got, err := exec.Command("tshark", args...).Output()
		if err != nil {
			t.Fatalf("tshark: %v (go run ./cmd/dev test installs it)", err)
		}
		for line := range strings.Lines(string(got)) {
			r := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
			var id uint32
			fmt.Sscan(r[0], &id)
			r[0] = fmt.Sprintf("%03X", id)
			if r[1] == "1" {
				r[0] = fmt.Sprintf("%08X", id)
			}
			rows = append(rows, r)
		}
		return rows
	}
	got, named := map[string][]string{}, map[string][]string{}
	for _, r := range dissect("iso15765.message_type==0 || iso15765.reassembled.length", "data", "data.data") {
		all := strings.Split(strings.ToUpper(r[2]), ",") // the frame's own part comes before the whole
		got[r[0]] = append(got[r[0]], all[len(all)-1])
	}
	for _, r := range dissect("uds", "uds", "uds.sid", "uds.err.sid") {
		named[r[0]] = append(named[r[0]], cmp.Or(r[3], r[2]))
	}
	same(t, "messages", got, want)
	same(t, "services", named, services)
}

func same(t *testing.T, what string, tshark, ours map[string][]string) {
	t.Helper()
	for id, o := range ours {
		slices.Sort(o) // ours stand in the order of the questions
		slices.Sort(tshark[id])
		if !slices.Equal(tshark[id], o) {
			t.Errorf("%s at %s:\n tshark %v\n ours   %v", what, id, tshark[id], o)
		}
	}
	for id := range tshark {
		if ours[id] == nil {
			t.Errorf("%s at %s: tshark has %d, the command none", what, id, len(tshark[id]))
		}
	}
}

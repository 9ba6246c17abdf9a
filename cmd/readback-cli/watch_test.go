package main

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
)

// TestWatch: values chosen by words and numbers come as lines of JSON and as a log, and the time ends it.
func TestWatch(t *testing.T) {
	t.Setenv("READBACK_HOME", t.TempDir())
	log := filepath.Join(t.TempDir(), "log.csv")
	synctest.Test(t, func(t *testing.T) {
		code, out, errs := call(t, "", "--json", "watch", "--adapter", "practice:courier", "--for", "2s", "--csv", log, "engine speed", "7E5:DD01", "supply")
		if code != exitDone {
			t.Fatalf("exit %d: %s", code, errs)
		}
		names, lines := map[string]int{}, 0
		for in := bufio.NewScanner(strings.NewReader(out)); in.Scan(); lines++ {
			var d struct {
				Name, State, Unit, Raw string
				Value                  *float64
			}
			if err := json.Unmarshal(in.Bytes(), &d); err != nil || d.State != "yes" || d.Value == nil {
				t.Fatalf("%v in %s", err, in.Text())
			}
			names[d.Name+" "+d.Unit]++
		}
		for _, n := range []string{"Motor speed 1/min", "12 V supply V", "12 V supply at the socket V"} {
			if names[n] < 2 {
				t.Errorf("%q came %d times: %v", n, names[n], names)
			}
		}
		f, err := os.Open(log)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		rows, err := csv.NewReader(f).ReadAll()
		if err != nil || len(rows) != lines+1 || strings.Join(rows[0], " ") != "time name value unit" {
			t.Errorf("%d rows for %d readings: %v", len(rows), lines, err)
		}
	})
}

// TestWatchUse: without a name what there is is listed; a name that fits nothing or several is wrong use; a file that is
// there is not written over.
func TestWatchUse(t *testing.T) {
	t.Setenv("READBACK_HOME", t.TempDir())
	there := filepath.Join(t.TempDir(), "there.csv")
	if err := os.WriteFile(there, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		want int
		says string
		args []string
	}{
		{exitDone, "7E0:0C", []string{"watch", "--adapter", "practice:runner"}},
		{exitDone, `"value": "7E0:0C"`, []string{"--json", "watch", "--adapter", "practice:runner"}},
		{exitDone, "1/min", []string{"watch", "--adapter", "practice:runner", "--for", "1s", "rpm"}},
		{exitUse, "does not offer", []string{"watch", "--adapter", "practice:runner", "warp speed"}},
		{exitUse, "several", []string{"watch", "--adapter", "practice:runner", "oxygen"}},
		{exitUse, "there already", []string{"watch", "--adapter", "practice:runner", "--for", "1s", "--csv", there, "rpm"}},
		{exitUse, "missing", []string{"watch", "rpm"}},
		{exitUse, "one of several", []string{"watch", "--adapter", "practice:runner", "fuel trim"}},
		{exitUse, "No more than 32", append([]string{"watch", "--adapter", "practice:runner"}, strings.Fields(strings.Repeat("22:DD00 ", 33))...)},
	} {
		synctest.Test(t, func(t *testing.T) {
			code, out, errs := call(t, "", c.args...)
			if code != c.want || !strings.Contains(out+errs, c.says) {
				t.Errorf("%v: exit %d, %s%s", c.args, code, out, errs)
			}
		})
	}
	if b, err := os.ReadFile(there); err != nil || string(b) != "mine" {
		t.Errorf("the file that was there: %q, %v", b, err)
	}
}

package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag"
)

// call runs the program with a logbook of its own.
func call(t *testing.T, in string, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), args, strings.NewReader(in), &o, &e)
	return code, o.String(), e.String()
}

func document(t *testing.T, out string) map[string]any {
	t.Helper()
	var doc map[string]any
	d := json.NewDecoder(strings.NewReader(out))
	if err := d.Decode(&doc); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if d.More() {
		t.Fatalf("more than one document: %s", out)
	}
	return doc
}

// TestExitCodes holds the codes of the terminal contract.
func TestExitCodes(t *testing.T) {
	t.Setenv("READBACK_HOME", t.TempDir())
	for _, c := range []struct {
		want int
		args string
	}{
		{exitDone, "explain 7E5 04 14 FF FF FF 55 55 55"},
		{exitDone, "explain 7E5 03 19 02 FF 55 55 55 55"},
		{exitNo, "explain --wish read 7E5 04 14 FF FF FF 55 55 55"},
		{exitNo, "explain 14 FF FF FF"},
		{exitNo, "explain 7E5 04 2E F1 90 41 55 55 55"},
		{exitNo, "explain 7ED 01 54 AA AA AA AA AA AA"},
		{exitNo, "explain hello"},
		{exitUse, "explain"},
		{exitUse, "explain --wish paint 7E5"},
		{exitDone, "words 7E5 04 14 FF FF FF 55 55 55"},
		{exitNo, "words hello"},
		{exitDone, "code P0A08 P0A08-13 0AA600"},
		{exitUse, "code XYZ"},
		{exitUse, "code P0A08 --status XX"},
		{exitDone, "vin 1M8GDM9AXKP042788"},
		{exitNo, "vin 1M8GDM9AXKP04278"},
		{exitUse, "look"},
		{exitUse, "look --adapter nowhere"},
		{exitUse, "look --adapter cloud:1"},
		{exitUse, "send --adapter practice: --say please 7E5 02 3E 00"},
		{exitFailed, "look --adapter serial:/does/not/exist"},
		{exitFailed, "look --adapter tcp:127.0.0.1:1"},
		{exitUse, "practice --serve radio"},
		{exitUse, "practice --serve serial --scenario nonesuch"},
		{exitDone, "history"},
		{exitUse, "history nobody"},
		{exitUse, "report 1 --to x.html --language xx"},
		{exitDone, "--help"},
		{exitUse, "paint"},
	} {
		code, out, errs := call(t, "", strings.Fields(c.args)...)
		if code != c.want {
			t.Errorf("%s: exit %d, want %d\n%s%s", c.args, code, c.want, out, errs)
		}
		if code >= exitUse && errs == "" {
			t.Errorf("%s: says nothing on standard error", c.args)
		}
	}
}

// A failure says what is likely, in order, and the one next step, where the table of troubles knows it.
func TestFailureSaysNext(t *testing.T) {
	_, _, errs := call(t, "", "look", "--adapter", "serial:/does/not/exist")
	row, _ := diag.TroubleFor(diag.NotListed)
	for _, want := range []string{"can't be opened", "  1. " + row.Causes[0], "  2. " + row.Causes[1], "Next: " + row.NextOn(runtime.GOOS), "rests on: " + row.RestsOn()} {
		if !strings.Contains(errs, want) {
			t.Errorf("%q is missing in\n%s", want, errs)
		}
	}
	if _, _, errs := call(t, "", "look", "--adapter", "tcp:127.0.0.1:1"); !strings.Contains(errs, "own network") || strings.Contains(errs, "USB") {
		t.Error(errs)
	}
}

func TestCompareExit(t *testing.T) {
	if code, out, _ := call(t, "", "compare", "7E5 04 14 FF FF FF 55 55 55", "7e5#0414ffffff555555"); code != exitDone {
		t.Errorf("the same frame in two notations: exit %d\n%s", code, out)
	}
	if code, out, _ := call(t, "", "compare", "7E5 04 14 FF FF FF 55 55 55", "7E5 04 14 FF FF FE 55 55 55"); code != exitNo || !strings.Contains(out, "One digit differs") {
		t.Errorf("one digit: exit %d\n%s", code, out)
	}
}

// TestExplainDocument holds the keys of the terminal contract.
func TestExplainDocument(t *testing.T) {
	_, out, _ := call(t, "7E5 04 14 FF FF FF 55 55 55", "--json", "explain", "-")
	doc := document(t, out)
	for _, key := range []string{"input", "frame", "direction", "service", "summary", "fields", "findings", "class", "reason", "words", "nearest"} {
		if _, ok := doc[key]; !ok {
			t.Errorf("no %q", key)
		}
	}
	if doc["class"] != "change" || doc["service"] != "14" || doc["direction"] != "request" {
		t.Errorf("class %v, service %v, direction %v", doc["class"], doc["service"], doc["direction"])
	}
}

// TestPracticeVisit is a whole visit by commands, in fake time.
func TestPracticeVisit(t *testing.T) {
	t.Setenv("READBACK_HOME", t.TempDir())
	synctest.Test(t, func(t *testing.T) {
		code, out, errs := call(t, "", "--json", "look", "--adapter", "practice:")
		if code != exitDone {
			t.Fatalf("look: exit %d\n%s", code, errs)
		}
		doc := document(t, out)
		modules := doc["modules"].([]any)
		if len(modules) != 11 {
			t.Errorf("%d modules", len(modules))
		}
		snapshots, thereNow := 0, 0
		for _, m := range modules {
			for _, c := range m.(map[string]any)["codes"].([]any) {
				c := c.(map[string]any)
				snapshots += len(c["snapshots"].([]any))
				if c["verdict"] == "there-now" {
					thereNow++
				}
			}
		}
		if snapshots == 0 || thereNow != 3 {
			t.Errorf("%d snapshots, %d codes there now", snapshots, thereNow)
		}

		request := strings.Fields("7E5 04 14 FF FF FF 55 55 55")
		_, out, _ = call(t, "", append([]string{"--json", "words"}, request...)...)
		var words []string
		for _, w := range document(t, out)["words"].([]any) {
			words = append(words, w.(string))
		}
		send := func(words string) (int, map[string]any) {
			args := []string{"--json", "send", "--adapter", "practice:", "--words", words, "--say", "not-charging", "--say", "safety"}
			code, out, _ := call(t, "", append(args, request...)...)
			return code, document(t, out)
		}
		code, doc = send("not,these,words")
		if code != exitNo || doc["sent"] != false || len(doc["refused"].([]any)) == 0 {
			t.Errorf("wrong words: exit %d, %v", code, doc)
		}
		code, doc = send(strings.Join(words, ","))
		if code != exitNo || doc["sent"] != true || doc["outcome"] != "accepted" {
			t.Errorf("send: exit %d, %v", code, doc)
		}
		var answers []string
		for _, a := range doc["answers"].([]any) {
			answers = append(answers, a.(map[string]any)["hex"].(string))
		}
		if !slices.Equal(answers, []string{"7F1478", "54"}) {
			t.Errorf("answers %v", answers)
		}
		if back := doc["readBack"].(map[string]any)["back"].([]any); len(back) != 1 {
			t.Errorf("back: %v", back)
		}
		_, out, _ = call(t, "", "history")
		if !strings.Contains(out, "accepted") || !strings.Contains(out, "PRACTICE") || !strings.Contains(out, "since the erase  Charging P1D5A-13: it has failed again since") {
			t.Errorf("history: %s", out)
		}
		for language, want := range map[string]string{"en": "Trouble codes of Practice car", "de": "Fehlercodes vor und nach einer Änderung: Übungsauto"} {
			path := filepath.Join(t.TempDir(), language+".html")
			code, out, errs := call(t, "", "report", "2", "--to", path, "--language", language)
			page, err := os.ReadFile(path)
			if code != exitDone || err != nil || !strings.Contains(string(page), want) || !strings.Contains(string(page), `<html lang="`+language+`">`) || !strings.HasPrefix(out, "Written to ") {
				t.Errorf("%s: exit %d, %v\n%s%s", language, code, err, out, errs)
			}
		}
	})
}

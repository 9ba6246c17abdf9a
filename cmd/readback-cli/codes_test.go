package main

import (
	"strings"
	"testing"
)

// TestCodeTexts reads what the terminal says of codes of every kind.
func TestCodeTexts(t *testing.T) {
	for _, c := range []struct {
		args string
		want []string
	}{
		{"code P0A08-13", []string{"P0A08-13  Break in the wire of the status signal of the DC-DC converter.\n", "Usual causes", "Look first", "Failure type 13: SAE J2012."}},
		{"code U0140-87 --status 28", []string{"Lost contact with the body control module: message missing.\n", "Remembered; tested this trip and passed.", "WATCH."}},
		{"code P1A34", []string{"The car's maker decides what P1A34 means.\n", "UNKNOWN."}},
		{"code 0AA600", []string{"P0AA6-00  Loss of isolation", "STOP.", "Do not drive."}},
		{"code P0420", []string{"P0420  The catalyst (bank 1) does not clean well enough.\n"}},
		{"code C0040-1C --severity 44", []string{"Not certain: ", "The car's own judgement: check it at the next halt; emission class B1.\n"}},
		{"code B3FFF", []string{"The standard gives B3FFF no meaning.\n", "nobody yet"}},
		{"code P0301-99", []string{"Misfire in cylinder 1.\n", "Failure type    99: it has reached the limit of what it can learn (not certain: lists differ)\n"}},
	} {
		exit, out, errs := call(t, "", strings.Fields(c.args)...)
		if exit != exitDone || errs != "" {
			t.Errorf("%s: exit %d, %s", c.args, exit, errs)
		}
		for _, want := range c.want {
			if !strings.Contains(out, want) {
				t.Errorf("%s lacks %q:\n%s", c.args, want, out)
			}
		}
		for line := range strings.Lines(out) {
			if strings.TrimRight(line, " \n") != strings.TrimRight(line, "\n") {
				t.Errorf("%s: blanks at the end of %q", c.args, line)
			}
		}
	}
	if exit, out, errs := call(t, "", "code", "XYZ"); exit != exitUse || out != "" || !strings.Contains(errs, `"XYZ" is not a trouble code`) {
		t.Errorf("exit %d, %q, %q", exit, out, errs)
	}
	if exit, _, errs := call(t, "", "code", "P0420", "--severity", "4"); exit != exitUse || !strings.Contains(errs, "two hex digits") {
		t.Errorf("exit %d, %q", exit, errs)
	}
}

// TestCodeDocument holds the keys of the terminal contract and those added to it.
func TestCodeDocument(t *testing.T) {
	_, out, _ := call(t, "", "--json", "code", "P0A08-13", "P1A34")
	codes, ok := document(t, out)["codes"].([]any)
	if !ok || len(codes) != 2 {
		t.Fatalf("codes: %s", out)
	}
	for _, c := range codes {
		for _, key := range strings.Fields("code failureType origin system meaning known failureText status verdict severity advice source line part causes lookFirst doubt carJudgement") {
			if v, ok := c.(map[string]any)[key]; !ok || (v == nil && key != "status") {
				t.Errorf("%q is %v in %v", key, v, c)
			}
		}
	}
}

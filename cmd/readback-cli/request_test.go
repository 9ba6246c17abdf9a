package main

import (
	"strings"
	"testing"
)

// What is printed of a request: bytes beside sentences, the mark under the place of a finding, and the exit code.
func TestExplainText(t *testing.T) {
	for _, c := range []struct {
		in   string
		args string
		want int
		says []string
		not  []string
	}{
		{"7E5 04 14 FF FF FF 55 55 55", "explain -", exitDone,
			[]string{"forget every stored trouble code.", "FF FF FF                 Which ones", "Lost       ", "It can't   It repairs nothing.", "Say back   snow laugh lumber", "How sure   "}, []string{"One slip away"}},
		{"7E5 03 19 02 FF 55 55 55 55", "explain -", exitDone, []string{"Class      look."}, []string{"One slip away", "WRONG", "DOUBT"}},
		{"7E5 14 FF FF FF 55 55 55 55", "explain -", exitNo,
			[]string{"WRONG  The counting byte seems to be missing", "         7E5 14 FF FF FF 55 55 55 55\n             ^\n", "  7E5 04 14 FF FF FF 55 55 55  [change]"}, []string{"Say back"}},
		{"7E5 O4 14 FF FF FF 55 55 55", "explain -", exitNo, []string{"Read as  7E5 ?? 14 FF", "\n             ^\n", "Did you mean 0 (zero)? Type it again."}, nil},
		{"7ED 03 7F 14 78 AA AA AA AA", "explain -", exitNo, []string{"This is an answer, not a request"}, []string{"Say back"}},
		{"7E5 04 31 01 FF 00 55 55 55", "explain -", exitNo, []string{"Class      never."}, nil},
		{"7E5 02 11 01 55 55 55 55 55", "explain -", exitNo, []string{"Class      workshop."}, nil},
		{"2021 04 14 FF FF FF", "explain -", exitNo, []string{"In hex it is 7E5."}, nil},
		{"请发送 7E5 04 14 FF FF 00 00 00 00", "explain -", exitNo, []string{"         请发送 7E5 04 14 FF FF 00 00 00 00\n" + strings.Repeat(" ", 9+6+17) + "^\n"}, nil},
		{"Bonjour, envoyez 7E5 04 14 FF FF FF 55 55 55 et\n7E2 03 19 02 FF", "explain -", exitNo,
			[]string{"There are several:", ">  1  7E5 04 14 FF FF FF 55 55 55  [request, change]", "   2  7E2 03 19 02 FF  [request, look]"}, nil},
		{"7E5 03 14 02 FF 55 55 55 55", "explain --wish read -", exitNo, []string{"You said: read. These bytes erase.", "One slip away is a request that does what you said:", "  7E5 03 19 02 FF 55 55 55 55  [look]"}, nil},
		{strings.Repeat("\x00\xff 7E5 garbage", 1<<20), "explain -", exitNo, []string{"longer than 20000 characters"}, []string{"^"}},
		{"", "explain -", exitNo, []string{"There is no request in it."}, nil},
	} {
		code, out, errs := call(t, c.in, strings.Fields(c.args)...)
		if code != c.want || errs != "" {
			t.Errorf("%.40q: exit %d, want %d\n%s%s", c.in, code, c.want, out, errs)
		}
		for _, s := range c.says {
			if !strings.Contains(out, s) {
				t.Errorf("%.40q: %q is not in\n%s", c.in, s, out)
			}
		}
		for _, s := range c.not {
			if strings.Contains(out, s) {
				t.Errorf("%.40q: %q is in\n%s", c.in, s, out)
			}
		}
		for _, l := range strings.Split(out, "\n") {
			if len([]rune(l)) > columns {
				t.Errorf("%.40q: a line of %d columns: %s", c.in, len([]rune(l)), l)
			}
		}
	}
}

func TestExplainDocumentOfAPost(t *testing.T) {
	_, out, _ := call(t, "try 7E5 04 14 FF FF FF 55 55 55 then\nATSH7E2\n03 19 02 FF", "--json", "explain", "-")
	doc := document(t, out)
	cleaned := doc["cleaned"].(map[string]any)
	if cleaned["text"] != "7E5 04 14 FF FF FF 55 55 55\n7E2 03 19 02 FF" {
		t.Errorf("cleaned %v", cleaned["text"])
	}
	first := cleaned["segments"].([]any)[0].(map[string]any)
	if first["from"] != 4.0 || first["to"] != 7.0 || first["byte"] != -1.0 || first["hex"] != "7E5" {
		t.Errorf("segment %v", first)
	}
	steps := doc["steps"].([]any)
	if len(steps) != 2 || steps[0].(map[string]any)["taken"] != true || steps[1].(map[string]any)["class"] != "look" {
		t.Errorf("steps %v", steps)
	}
	for _, f := range doc["findings"].([]any) {
		if _, ok := f.(map[string]any)["byte"]; !ok {
			t.Errorf("finding %v", f)
		}
	}
}

// The frames of a comparison stand byte under byte, a byte that only one has is a gap.
func TestCompareText(t *testing.T) {
	code, out, _ := call(t, "", "compare", "7E5 04 14 FF FF FF 55 55 55", "7E5 04 04 14 FF FF FF 55 55")
	want := "  first   7E5 04 -- 14 FF FF FF 55 55 55\n  second  7E5 04 04 14 FF FF FF 55 55 --\n                 ^^                   ^^\n"
	if code != exitNo || !strings.HasPrefix(out, want) || !strings.Contains(out, "the second is refused") {
		t.Errorf("exit %d\n%s", code, out)
	}
	if code, out, _ = call(t, "", "compare", "7E5 04", "hello"); code != exitNo || !strings.Contains(out, "The second can't be read as a request.") {
		t.Errorf("exit %d\n%s", code, out)
	}
}

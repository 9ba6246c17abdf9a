package app

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"readback/assets"
	"readback/diag"
)

// speakingPackages are those whose sentences the window shows.
var speakingPackages = []string{"../diag", "../diag/explain", "../diag/gate", "../diag/cable", "../diag/trend", "../diag/talk", "../diag/adapter", "../diag/uds", "../diag/kwp", "../diag/obd", "../diag/garage", "../diag/quantity"}

var formatVerbs = regexp.MustCompile(`%[-+# 0]*\d*(\.\d+)?[a-zA-Z]`)

// filled is a format with something in it.
func filled(format string) string {
	return strings.ReplaceAll(formatVerbs.ReplaceAllStringFunc(strings.ReplaceAll(format, "%%", "\x00"), func(v string) string {
		switch v[len(v)-1] {
		case 'd', 'f', 'g':
			return "5"
		case 'q':
			return `"ABC"`
		case 'X', 'x':
			return "7E5"
		}
		return "Motor"
	}), "\x00", "%")
}

// joined are sentences into which the engine puts words of its own, and what they are then.
var joined = map[string]string{
	"%s so too, now.": "2 codes say so too, now.",
	"%s that the supply is too low now. Other codes may come from that.":                                                             "1 code says that the supply is too low now. Other codes may come from that.",
	"%s that the supply is too low now, and at the socket there were %.1f V. So it gets lost on the way to the module.":              "2 codes say that the supply is too low now, and at the socket there were 11.2 V. So it gets lost on the way to the module.",
	"%s no result yet: the module has not tested them since they were erased or since switching on. They are not counted as faults.": "3 entries have no result yet: the module has not tested them since they were erased or since switching on. They are not counted as faults.",
	"%s, and it may be one of these.":                                          "2 modules that answered have no name, and it may be one of these.",
	"Only broken frames come%s.":                                               "Only broken frames come at 500 kbit/s.",
	"%s has %s. An identifier has 3 or 8.":                                     "7E has 2 digits. An identifier has 3 or 8.",
	"The filling is %02X. %s fills up with %02X.":                              "The filling is 55. The Motor module fills up with AA.",
	"One short message: the next %s, the rest is filling.":                     "One short message: the next 3 bytes count, the rest is filling.",
	"One short message: the next %s.":                                          "One short message: the next 1 byte counts.",
	"As kept in frame %d.":                                                     "Motor speed (number 0C). As kept in frame 2.",
	"Agreed: it answers %02X (%02X + 40). %s.":                                 "Agreed: it answers 14 (14 + 40). Forget stored trouble codes.",
	"%s. If it agrees, the answer begins with %02X (%02X + 40).":               "Tell a value. If it agrees, the answer begins with 62 (22 + 40).",
	"%s. There is no undo. If it agrees, the answer begins with 44 (04 + 40).": "Forget trouble codes. There is no undo. If it agrees, the answer begins with 44 (04 + 40).",
	"Number %02X of its %s list.":                                              "Number 05 of its monitor list.",
	"Which %s numbers it has from %02X on.":                                    "Which information numbers it has from 20 on.",
	"Of %d frames, %s. The others are what came back or went by.":              "Of 5 frames, 1 is a request. The others are what came back or went by.",
	"The %s in that module.":                                                   "The 2 stored snapshots in that module.",
}

// sentencesOf are the whole sentences that stand in the source of a package, filled in.
func sentencesOf(t *testing.T, dir string, said sayings) {
	t.Helper()
	files, err := filepath.Glob(dir + "/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			l, ok := n.(*ast.BasicLit)
			if !ok || l.Kind != token.STRING {
				return true
			}
			s, err := strconv.Unquote(l.Value)
			if err != nil {
				t.Fatal(err)
			}
			s = strings.TrimSpace(s)
			if r := []rune(s + " "); strings.HasSuffix(s, ".") && len(strings.Fields(s)) > 2 && (r[0] >= 'A' && r[0] <= 'Z' || r[0] == '%') {
				if whole := joined[s]; whole != "" {
					said.add(path, whole)
				} else {
					said.add(path, filled(s))
				}
			}
			return true
		})
	}
}

// TestSentencesAreTold: each sentence that stands in the engine has words in German, whether a test can make the engine say
// it or not.
func TestSentencesAreTold(t *testing.T) {
	said := newSayings()
	for _, dir := range speakingPackages {
		sentencesOf(t, dir, said)
	}
	if len(said.said) < 600 {
		t.Fatalf("only %d sentences", len(said.said))
	}
	for _, s := range untold(t, "de", said) {
		t.Errorf("%s: %q", said.said[s], s)
	}
}

// TestTroublesAreTold: what is seen, the causes and the next step on each system.
func TestTroublesAreTold(t *testing.T) {
	said := newSayings()
	rows := diag.Troubles()
	if len(rows) < 27 {
		t.Fatalf("only %d troubles", len(rows))
	}
	for _, x := range rows {
		said.add(string(x.Key), x.Seen)
		said.add(string(x.Key), x.Causes...)
		said.add(string(x.Key), x.RestsOn())
		for _, system := range []string{"linux", "windows", "darwin"} {
			said.add(string(x.Key)+" on "+system, x.NextOn(system))
		}
	}
	for _, s := range untold(t, "de", said) {
		t.Errorf("%s: %q", said.said[s], s)
	}
}

// TestLessonsAreTold: all that a lesson says has words in German of its own, but for bytes.
func TestLessonsAreTold(t *testing.T) {
	said := newSayings()
	files, err := fs.Glob(assets.Lessons, "lessons/*.json")
	if err != nil || len(files) < 8 {
		t.Fatal(files, err)
	}
	for _, f := range files {
		b, err := assets.Lessons.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		var l any
		if err := json.Unmarshal(b, &l); err != nil {
			t.Fatal(err)
		}
		lessonTexts(f, l, said)
	}
	if len(said.said) < 200 {
		t.Fatalf("only %d texts", len(said.said))
	}
	for _, s := range untold(t, "de", said) {
		t.Errorf("%s: %q", said.said[s], s)
	}
}

// lessonTexts are the texts of a lesson's document: all that is no key, kind or frame.
func lessonTexts(of string, x any, said sayings) {
	switch x := x.(type) {
	case map[string]any:
		for k, v := range x {
			switch k {
			case "id", "kind", "mark", "frames", "seen", "fade", "want", "scenario", "when":
			default:
				lessonTexts(of, v, said)
			}
		}
	case []any:
		for _, v := range x {
			lessonTexts(of, v, said)
		}
	case string:
		said.add(of, x)
	}
}

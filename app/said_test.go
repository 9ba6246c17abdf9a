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
	"readback/diag/bus"
	"readback/diag/trace"
)

// speakingPackages are those whose sentences the window shows.
var speakingPackages = []string{"../diag", "../diag/explain", "../diag/gate", "../diag/cable", "../diag/trend", "../diag/talk", "../diag/adapter", "../diag/uds", "../diag/kwp", "../diag/obd", "../diag/garage", "../diag/quantity",
	"../diag/adapter/elm", "../diag/adapter/slcan", "../diag/adapter/socketcan", "../diag/adapter/ports", "../diag/adapter/practice", "../diag/adapter/replay"}

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

// TestAdaptersAreTold: what adapters and ports are called, and the notes beside them.
func TestAdaptersAreTold(t *testing.T) {
	said := newSayings()
	files, err := filepath.Glob("../diag/adapter/*/*.go")
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]bool{"Name": true, "Note": true, "Protocol": true, "Version": true}
	add := func(path string, to, value ast.Expr) {
		if sel, ok := to.(*ast.SelectorExpr); ok {
			to = sel.Sel
		}
		if key, ok := to.(*ast.Ident); !ok || !told[key.Name] {
			return
		}
		ast.Inspect(value, func(n ast.Node) bool {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
				s, err := strconv.Unquote(l.Value)
				if err != nil {
					t.Fatal(err)
				}
				if s = strings.TrimSpace(strings.TrimLeft(filled(s), ";,")); strings.HasSuffix(s, ":") {
					s += " sudo ip link set can0 up" // a command follows
				}
				said.add(path, s)
			}
			return true
		})
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
			switch n := n.(type) {
			case *ast.KeyValueExpr:
				add(path, n.Key, n.Value)
			case *ast.AssignStmt:
				for i, to := range n.Lhs {
					add(path, to, n.Rhs[min(i, len(n.Rhs)-1)])
				}
			}
			return true
		})
	}
	said.add("a note", "COM3, USB 0403:6001; you have no right to use it", "down; this brings it up: sudo ip link set can0 up type can bitrate 500000", "USB adapter ABC-12", "CAN interface can0")
	if len(said.said) < 14 {
		t.Fatalf("only %d texts", len(said.said))
	}
	for _, s := range untold(t, "de", said) {
		t.Errorf("%s: %q", said.said[s], s)
	}
}

// TestFilesAreTold: what is wrong with a recording or a signal definition file, and what a bus reports.
func TestFilesAreTold(t *testing.T) {
	said := newSayings()
	calls := map[string]bool{"problem": true, "Errorf": true, "wants": true, "whole": true, "number": true, "fail": true, "Sprintf": true}
	for _, dir := range []string{"../diag/trace", "../diag/signal"} {
		files, err := filepath.Glob(dir + "/*.go")
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range files {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			calls["Errorf"] = filepath.Base(path) != "socketcan.go" // what it finds is the cause of an error, which no page shows
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(f, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.CallExpr:
					if !calls[calledName(n)] {
						return true
					}
					for _, arg := range n.Args {
						addLiteral(t, path, arg, said)
					}
				case *ast.KeyValueExpr:
					if key, ok := n.Key.(*ast.Ident); ok && key.Name == "Text" {
						addLiteral(t, path, n.Value, said)
					}
				}
				return true
			})
		}
	}
	for f := bus.Fault(1); f != 0; f <<= 1 {
		said.add("a fault of the bus", trace.FaultText(f))
	}
	said.add("a problem", "BO_: the identifier 7E5 is described twice; the first description is used", "SG_: \"ABC\" stands where the first bit should be")
	if len(said.said) < 40 {
		t.Fatalf("only %d texts", len(said.said))
	}
	for _, s := range untold(t, "de", said) {
		t.Errorf("%s: %q", said.said[s], s)
	}
}

// addLiteral adds a text that stands in the source, but for the program's own names of operations.
func addLiteral(t *testing.T, path string, e ast.Expr, said sayings) {
	l, ok := e.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return
	}
	s, err := strconv.Unquote(l.Value)
	if err != nil {
		t.Fatal(err)
	}
	s = strings.TrimPrefix(s, "%s: ") // the statement in which it is
	if len(strings.Fields(formatVerbs.ReplaceAllString(s, ""))) > 1 && s != "line %d: %s" && !strings.HasPrefix(s, "trace: ") && !strings.HasPrefix(s, "signal: ") {
		said.add(path, filled(s))
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

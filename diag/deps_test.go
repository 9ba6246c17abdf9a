package diag_test

import (
	"bytes"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// room is one package of the module: which of our own packages its production code may import, and why no others.
type room struct {
	may    string // folders, separated by spaces; a folder with /... stands for all below it too
	reason string
}

// plainValues are the packages whose values a front end shows. None of them can reach a car.
const plainValues = "diag/adapter diag/cable diag/dtc diag/explain diag/garage diag/gate diag/lesson diag/link diag/trace diag/vin"

// rooms is the plan of the house. Dependencies point down. A new package needs a row here, with its reason.
var rooms = map[string]room{
	"assets": {"", "data only: everybody may use it, so it may use nobody"},

	"diag/pause": {"", "lets time go by until somebody wants to stop; a leaf, so that rooms that may not know each other need not write it again"},

	"diag/bus":         {"diag/pause", "the frame seam: adapters and the transport meet here, so it knows neither"},
	"diag/bus/bustest": {"diag/bus", "checks any Bus through the seam alone"},
	"diag/link":        {"", "the message seam: transport, gate and clients meet here, so it knows none of them"},
	"diag/link/linktest": {"diag/link",
		"checks any Link through the seam alone"},

	"diag/vin":      {"", "pure: a number's letters and nothing else"},
	"diag/quantity": {"", "pure: a value with its unit"},
	"diag/cable":    {"", "pure: meter readings to verdicts"},
	"diag/trend":    {"", "pure: numbers to numbers"},
	"diag/dtc":      {"assets", "pure: bytes to codes, with the tables of meanings"},
	"diag/explain": {"assets diag/dtc diag/kwp diag/link diag/obd diag/uds",
		"pure: it explains what must not be sent, so it can't send; of link it uses plain identifiers, of the clients their " +
			"names and decoders, so that no meaning stands in two tables; a client sends nothing without a Link, and this room is never given one"},

	"diag/lesson": {"assets diag/explain", "pure: it judges what a learner does by the explainer's word, and says what to ask without asking it"},

	"diag/isotp":    {"diag/bus diag/link", "the transport joins the two seams and knows no service"},
	"diag/exchange": {"diag/link diag/pause", "the patience that two clients share; it knows no service"},
	"diag/uds":      {"diag/dtc diag/exchange diag/link diag/pause", "a client on the message seam; which adapter or transport carries it does not matter"},
	"diag/obd":      {"diag/dtc diag/link diag/quantity", "the same as uds"},
	"diag/kwp":      {"diag/dtc diag/exchange diag/link", "the same as uds"},
	"diag/gate":     {"diag/explain diag/link", "judges messages by its own table; a client or an adapter beneath it could go round it"},
	"diag/trace":    {"diag/bus diag/link", "records what passes the seams, whoever uses them"},

	"diag/signal": {"diag/link", "pure: a definition file and bytes to values; of link it uses plain identifiers"},

	"diag/talk": {"diag/bus diag/explain diag/isotp diag/link diag/trace diag/uds",
		"pure: entries of the trace to a conversation; the rules of the transport and the words are those of the rooms that have them"},
	"diag/heard": {"diag/bus diag/link diag/signal diag/trace", "pure: entries of the trace to a table of identifiers"},

	"diag/garage": {"diag/dtc diag/link", "keeps values; it must open old records without a car"},
	"diag/report": {"diag/dtc diag/garage diag/tongue", "shows kept values, in the language of who reads them; it must work without a car"},
	"diag/tongue": {"diag/dtc", "pure: what the engine says to the same in another language; of dtc it uses the lines of codes, which are put together from pieces"},

	"diag/adapter":           {"diag/bus diag/link", "what all adapters have in common is the two seams"},
	"diag/adapter/socketcan": {"diag/adapter diag/bus diag/link diag/pause", "carries frames and knows no transport"},
	"diag/adapter/ports":     {"diag/adapter", "the serial ports of this computer, for all drivers that use some"},
	"diag/adapter/slcan":     {"diag/adapter diag/adapter/ports diag/bus", "carries frames and knows no transport"},
	"diag/adapter/elm":       {"diag/adapter diag/adapter/ports diag/bus diag/isotp diag/link diag/pause", "does the transport itself, so it needs the transport's rules; bus for the Tap"},
	"diag/adapter/replay":    {"diag/adapter diag/bus diag/link diag/trace", "plays what trace has written"},
	"diag/adapter/practice":  {"diag/adapter diag/bus diag/link diag/simcar", "the simulated car as an adapter; nothing of the client, which would hide the client's faults"},
	"diag/adapter/all":       {"diag/adapter/...", "the one list of all adapters"},

	"diag/simcar": {"assets diag/bus diag/link diag/pause",
		"no codec of the client, not even the transport: a fault must not mirror itself"},

	"diag": {"assets diag/...", "puts the rooms together"},

	"app":        {"app/look assets diag diag/heard diag/quantity diag/signal diag/talk diag/tongue " + plainValues, "values in, intent out; the car is reached through diag alone; assets for the licences"},
	"app/locale": {"", "must run before Fyne is there, so it may wait for nothing"},
	"app/recall": {"", "the same"},
	"app/look":   {"", "drawn parts: they show what they are given"},

	"cmd/readback": {"app app/locale app/look app/recall assets diag diag/adapter/all diag/quantity " + plainValues, "starts the window, which has an icon, and does nothing else"},
	"cmd/readback-cli": {"assets diag diag/adapter/all diag/heard diag/quantity diag/report diag/signal diag/simcar diag/talk diag/tongue " + plainValues,
		"the same engine; simcar to serve the practice car; heard, signal and talk for recordings, which have no car; tongue for reports"},
	"cmd/dev": {"", "must run before anything is installed or fetched: standard library only"},
}

// notFrom are outside packages that some rooms must not import.
var notFrom = []struct{ room, outside, reason string }{
	{"app/...", "fyne.io/fyne/v2/app", "needs a C compiler and a display: the pages are tested without either"},
	{"app/...", "github.com/go-gl/...", "the same"},
	{"assets/...", "fyne.io/...", "the engine runs without a window"},
	{"diag/...", "fyne.io/...", "the engine runs without a window"},
	{"diag/...", "github.com/go-gl/...", "the engine runs without a window"},
	{"cmd/readback-cli", "fyne.io/...", "the terminal program needs no C compiler"},
	{"cmd/readback-cli", "github.com/go-gl/...", "the same"},
}

const module = "readback/"

// source is one Go file of the module.
type source struct {
	name   string // path from the module's folder, with slashes
	test   bool
	text   []byte
	tree   *ast.File
	places *token.FileSet
}

func (s source) room() string { return path.Dir(s.name) }

func (s source) at(n ast.Node) string {
	return fmt.Sprintf("%s:%d", s.name, s.places.Position(n.Pos()).Line)
}

// imports yields the name by which a file uses each package that it imports.
func (s source) imports() map[string]string {
	out := map[string]string{}
	for _, spec := range s.tree.Imports {
		full, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			continue
		}
		name := path.Base(full)
		if spec.Name != nil {
			name = spec.Name.Name
		}
		out[full] = name
	}
	return out
}

// sources parses every Go file of the module, whatever system it is for.
func sources(t *testing.T) []source {
	t.Helper()
	root := ".."
	if _, err := os.Stat(filepath.Join(root, "go.mod")); err != nil {
		t.Fatal(err)
	}
	var out []source
	var broken []error
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && file != root && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(file, ".go") {
			return nil
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		s := source{name: filepath.ToSlash(rel), test: strings.HasSuffix(file, "_test.go"), places: token.NewFileSet()}
		if s.text, err = os.ReadFile(file); err != nil {
			return err
		}
		s.tree, err = parser.ParseFile(s.places, s.name, s.text, parser.ParseComments|parser.SkipObjectResolution)
		broken = append(broken, err)
		if err == nil {
			out = append(out, s)
		}
		return nil
	})
	if err := errors.Join(append(broken, err)...); err != nil {
		t.Fatal(err)
	}
	if len(out) < 50 {
		t.Fatalf("only %d Go files found: this is not the whole module", len(out))
	}
	return out
}

// covers reports whether a pattern, which may end in /..., stands for a package.
func covers(pattern, pkg string) bool {
	base, all := strings.CutSuffix(pattern, "/...")
	return pkg == base || all && strings.HasPrefix(pkg, base+"/")
}

func coversAny(patterns []string, pkg string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return covers(p, pkg) })
}

// isTestdata reports a leaf package of test vectors: tests alone may use it, and it uses nobody.
func isTestdata(pkg string) bool {
	return pkg == "testdata" || strings.Contains("/"+pkg+"/", "/testdata/")
}

func TestImports(t *testing.T) {
	for _, s := range sources(t) {
		plan, known := rooms[s.room()]
		if isTestdata(s.room()) {
			plan, known = room{"", "test vectors only"}, true
		}
		if !known {
			t.Errorf("%s: the package %s has no row in the plan", s.name, s.room())
			continue
		}
		if s.test {
			continue
		}
		for full := range s.imports() {
			if own, ok := strings.CutPrefix(full, module); ok && !coversAny(strings.Fields(plan.may), own) {
				t.Errorf("%s imports %s; %s may import [%s]: %s", s.name, own, s.room(), plan.may, plan.reason)
			}
			if s.room() == "cmd/dev" && strings.Contains(strings.Split(full, "/")[0], ".") {
				t.Errorf("%s imports %s: %s", s.name, full, plan.reason)
			}
			for _, not := range notFrom {
				if covers(not.room, s.room()) && covers(not.outside, full) {
					t.Errorf("%s imports %s: %s", s.name, full, not.reason)
				}
			}
		}
	}
}

// The plan has no room that could be reached from itself: then "down" would mean nothing.
func TestPlanPointsDown(t *testing.T) {
	var visit func(from string, trail []string)
	done := map[string]bool{}
	visit = func(from string, trail []string) {
		if slices.Contains(trail, from) {
			t.Fatalf("the plan goes in a circle: %s", strings.Join(append(trail, from), " -> "))
		}
		if done[from] {
			return
		}
		for to := range rooms {
			if to != from && coversAny(strings.Fields(rooms[from].may), to) {
				visit(to, append(slices.Clone(trail), from))
			}
		}
		done[from] = true
	}
	for from := range rooms {
		visit(from, nil)
	}
}

// use is a place where a name of one of our packages is used, or a method is called.
type use struct {
	where string
	in    string // "diag.wire": the package's folder and the function
	args  []ast.Expr
}

// usesOf finds calls of a package's function in production code outside that package.
func usesOf(all []source, pkg, name string) []use {
	var out []use
	for _, s := range all {
		local, imported := s.imports()[module+pkg]
		if s.test || !imported {
			continue
		}
		eachCall(s, func(in string, call *ast.CallExpr) {
			sel, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || sel.Sel.Name != name {
				return
			}
			if x, ok := sel.X.(*ast.Ident); ok && x.Name == local {
				out = append(out, use{s.at(call), s.room() + "." + in, call.Args})
			}
		})
	}
	return out
}

// eachCall visits the calls of a file with the name of the function they stand in.
func eachCall(s source, visit func(in string, call *ast.CallExpr)) {
	for _, d := range s.tree.Decls {
		in := "package level"
		if f, ok := d.(*ast.FuncDecl); ok {
			in = f.Name.Name
		}
		ast.Inspect(d, func(n ast.Node) bool {
			if call, ok := n.(*ast.CallExpr); ok {
				visit(in, call)
			}
			return true
		})
	}
}

// carEnd is where a practice car is put on an interface: the car's end of the wire, which answers and never asks.
const carEnd = "diag.ServePractice"

// Nothing leaves but through the gate. A client is built in one place, the gate in one place, and the router that the
// clients stand on begins at the gate.
func TestOneDoorToTheWire(t *testing.T) {
	all := sources(t)
	for _, rule := range []struct{ pkg, name, reason string }{
		{"diag/uds", "New", "every client must stand on the gate, so one function builds them"},
		{"diag/obd", "New", "the same"},
		{"diag/kwp", "New", "the same"},
		{"diag/gate", "New", "a second gate would count and hear for itself"},
		{"diag/link", "NewRouter", "the one router stands on the gate"},
		{"diag/isotp", "New", "a second transport on the bus would lie beside the gate"},
		{"diag/adapter", "Open", "an open adapter is the wire itself"},
	} {
		found := usesOf(all, rule.pkg, rule.name)
		if rule.pkg == "diag/adapter" { // the car's end opens an interface too; it gets no client and no gate
			found = slices.DeleteFunc(found, func(u use) bool { return u.in == carEnd })
		}
		if len(found) != 1 {
			t.Errorf("%s.%s is called %d times in production code, want once: %s", rule.pkg, rule.name, len(found), rule.reason)
		}
		for _, u := range found {
			if !strings.HasPrefix(u.in, "diag.") {
				t.Errorf("%s calls %s.%s: %s", u.where, rule.pkg, rule.name, rule.reason)
			}
		}
	}
	for _, u := range usesOf(all, "diag/exchange", "New") {
		if u.in != "diag/uds.New" && u.in != "diag/kwp.New" {
			t.Errorf("%s begins an exchange; only the clients may", u.where)
		}
	}
	for _, u := range usesOf(all, "diag/link", "NewRouter") {
		if sel, ok := u.args[0].(*ast.SelectorExpr); !ok || sel.Sel.Name != "gate" {
			t.Errorf("%s: the router must begin at the gate", u.where)
		}
	}
	// The bare Bus or Link of a connection: only the function that lays the gate on it may take it.
	for _, s := range all {
		if s.test || s.room() != "diag" && !strings.HasPrefix(s.room(), "app") && !strings.HasPrefix(s.room(), "cmd/readback") {
			continue
		}
		eachCall(s, func(in string, call *ast.CallExpr) {
			sel, ok := call.Fun.(*ast.SelectorExpr)
			if ok && len(call.Args) == 0 && (sel.Sel.Name == "Bus" || sel.Sel.Name == "Link") && s.room()+"."+in != "diag.wire" && s.room()+"."+in != carEnd {
				t.Errorf("%s: %s takes the bare %s of an adapter; only diag.wire may", s.at(call), in, sel.Sel.Name)
			}
		})
	}
}

// A front end may show what belongs to the wire, never hold it.
func TestFrontEndsHoldNoWire(t *testing.T) {
	wire := map[string][]string{
		"diag/link":    {"Link", "Message", "Router", "NewRouter", "Peer"},
		"diag/adapter": {"Connection", "Frames", "Messages", "Options", "Open"},
		"diag/gate":    {"New", "Gate", "Permit", "Proposal"},
		"diag/trace":   {"WrapBus", "WrapLink", "NewRecorder"},
	}
	for _, s := range sources(t) {
		if s.test || !strings.HasPrefix(s.room(), "app") && s.room() != "cmd/readback" && s.room() != "cmd/readback-cli" {
			continue
		}
		for pkg, names := range wire {
			local, imported := s.imports()[module+pkg]
			if !imported {
				continue
			}
			for _, d := range s.tree.Decls {
				ast.Inspect(d, func(n ast.Node) bool {
					sel, ok := n.(*ast.SelectorExpr)
					if !ok || !slices.Contains(names, sel.Sel.Name) {
						return true
					}
					if x, ok := sel.X.(*ast.Ident); ok && x.Name == local {
						t.Errorf("%s uses %s.%s: it belongs to the engine", s.at(sel), pkg, sel.Sel.Name)
					}
					return true
				})
			}
		}
	}
}

// Time in tests is fake (testing/synctest) or waited for by an event: a test that sleeps is slow or lies.
func TestNoTestSleeps(t *testing.T) {
	for _, s := range sources(t) {
		local, imported := s.imports()["time"]
		if !s.test || !imported {
			continue
		}
		eachCall(s, func(in string, call *ast.CallExpr) {
			if sel, ok := call.Fun.(*ast.SelectorExpr); ok && sel.Sel.Name == "Sleep" {
				if x, ok := sel.X.(*ast.Ident); ok && x.Name == local {
					t.Errorf("%s: %s sleeps", s.at(call), in)
				}
			}
		})
	}
}

func TestFilesAreShort(t *testing.T) {
	const most = 600
	for _, s := range sources(t) {
		if lines := bytes.Count(s.text, []byte("\n")); lines > most {
			t.Errorf("%s has %d lines; the most is %d", s.name, lines, most)
		}
	}
}

// TestEveryPackageIsDescribed: a package says in one place what it is for.
func TestEveryPackageIsDescribed(t *testing.T) {
	docs := map[string]int{}
	for _, s := range sources(t) {
		if s.test || strings.Contains(s.name, "/testdata/") {
			continue
		}
		docs[path.Dir(s.name)] += 0
		if d := s.tree.Doc; d != nil && regexp.MustCompile(`^(Package|Command) \w`).MatchString(d.Text()) {
			docs[path.Dir(s.name)]++
		}
	}
	for folder, n := range docs {
		if n != 1 {
			t.Errorf("%s is described in %d files", folder, n)
		}
	}
}

func TestNothingIsLeftToDo(t *testing.T) {
	marks := []string{"TO" + "DO", "FIX" + "ME", "XX" + "X"}
	for _, s := range sources(t) {
		for _, group := range s.tree.Comments {
			for _, c := range group.List {
				for _, word := range strings.FieldsFunc(c.Text, func(r rune) bool { return r < 'A' || r > 'z' }) {
					if slices.Contains(marks, word) {
						t.Errorf("%s: a comment says %s", s.at(c), word)
					}
				}
			}
		}
	}
}

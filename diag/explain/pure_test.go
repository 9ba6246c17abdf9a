package explain

import (
	"go/ast"
	"go/parser"
	places "go/token"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The decoders of the clients are used here, never the clients: nothing of this package waits, reads a file or knows a
// Link. What it may import of this module is in the plan (diag/deps_test.go).
func TestNothingHereCanSend(t *testing.T) {
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	met := 0
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
			continue
		}
		met++
		tree, err := parser.ParseFile(places.NewFileSet(), f.Name(), nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range tree.Imports {
			path, _ := strconv.Unquote(i.Path.Value)
			root, _, _ := strings.Cut(path, "/")
			if slices.Contains([]string{"context", "io", "net", "os", "syscall", "time", "database"}, root) {
				t.Errorf("%s imports %s", f.Name(), path)
			}
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			if sel, ok := n.(*ast.SelectorExpr); ok {
				x, _ := sel.X.(*ast.Ident)
				if x != nil && (x.Name == "uds" || x.Name == "obd" || x.Name == "kwp") && (sel.Sel.Name == "New" || sel.Sel.Name == "Client") ||
					x != nil && x.Name == "link" && (sel.Sel.Name == "Link" || sel.Sel.Name == "Message" || sel.Sel.Name == "Router") {
					t.Errorf("%s uses %s.%s", f.Name(), x.Name, sel.Sel.Name)
				}
			}
			return true
		})
	}
	if met < 20 {
		t.Errorf("only %d files", met)
	}
}

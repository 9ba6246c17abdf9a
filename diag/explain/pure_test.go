package explain

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
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
		tree, err := parser.ParseFile(token.NewFileSet(), f.Name(), nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range tree.Imports {
			switch path, _ := strconv.Unquote(i.Path.Value); path {
			case "cmp", "fmt", "slices", "strconv", "strings", "unicode", "unicode/utf8", "crypto/sha256", "math/bits":
			default:
				if !strings.HasPrefix(path, "readback/") {
					t.Errorf("%s imports %s", f.Name(), path)
				}
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

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"path/filepath"
	"strings"
)

// listed is what `go list -json` tells of a package.
type listed struct {
	ImportPath, Dir   string
	GoFiles, CgoFiles []string
	ImportMap         map[string]string
	Standard, DepOnly bool
	Module            *struct{ GoVersion string }
}

// typeCheck checks every package of the checkout, the window and the tests too, as they are for another system. It needs
// neither that system's C compiler nor its libraries: all sources are read, and what comes from C is taken on trust. The
// error names everything that does not fit.
func (p *project) typeCheck(ctx context.Context, goos, goarch string) error {
	text, err := p.output(ctx, []string{"GOOS=" + goos, "GOARCH=" + goarch, "CGO_ENABLED=1"}, "go", "list", "-deps", "-test",
		"-json=ImportPath,Dir,GoFiles,CgoFiles,ImportMap,Standard,DepOnly,Module", "./...")
	if err != nil {
		return err
	}
	c := checker{files: token.NewFileSet(), done: map[string]*types.Package{}, sizes: types.SizesFor("gc", goarch)}
	for d := json.NewDecoder(strings.NewReader(text)); ; {
		var l listed
		if err := d.Decode(&l); err == io.EOF {
			break
		} else if err != nil {
			return fmt.Errorf("the list of packages for %s: %w", goos, err)
		}
		if l.ImportPath != "unsafe" && !strings.HasSuffix(l.ImportPath, ".test") { // go test writes the latter when it runs
			c.check(l)
		}
	}
	if c.own == 0 {
		c.wrong = append(c.wrong, fmt.Errorf("no package of this checkout is for %s", goos))
	}
	return errors.Join(c.wrong...)
}

// checker checks packages in such an order that each comes after those that it imports.
type checker struct {
	files *token.FileSet
	done  map[string]*types.Package
	sizes types.Sizes
	own   int     // packages of this checkout
	wrong []error // what is wrong in them, and in other modules
}

// check reads a package. The bodies of functions are left out where they belong to somebody else; errors of the standard
// library are not told: what it takes from C is more than can be taken on trust.
func (c *checker) check(l listed) {
	const most = 6 // of a package
	told := 0
	tell := func(err error) {
		if told++; !l.Standard && told <= most {
			c.wrong = append(c.wrong, err)
		}
	}
	var files []*ast.File
	for _, name := range append(l.GoFiles, l.CgoFiles...) {
		f, err := parser.ParseFile(c.files, filepath.Join(l.Dir, name), nil, parser.SkipObjectResolution)
		if err != nil {
			tell(err)
			continue
		}
		files = append(files, f)
	}
	conf := types.Config{Importer: importer{c.done, l.ImportMap}, FakeImportC: true, IgnoreFuncBodies: l.DepOnly, Sizes: c.sizes, Error: tell}
	if l.Module != nil && l.Module.GoVersion != "" {
		conf.GoVersion = "go" + l.Module.GoVersion
	}
	pkg, err := conf.Check(l.ImportPath, c.files, files, nil)
	if err != nil && told == 0 {
		tell(err)
	}
	c.done[l.ImportPath] = pkg
	if !l.DepOnly {
		c.own++
	}
}

// importer hands out packages that have been checked already.
type importer struct {
	done    map[string]*types.Package
	renamed map[string]string // what an import in this package stands for, where that is another path
}

func (i importer) Import(path string) (*types.Package, error) {
	if path == "unsafe" {
		return types.Unsafe, nil
	}
	if other, ok := i.renamed[path]; ok {
		path = other
	}
	if pkg := i.done[path]; pkg != nil {
		return pkg, nil
	}
	return nil, fmt.Errorf("%s is not in the list", path)
}

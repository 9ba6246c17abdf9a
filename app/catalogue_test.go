package app

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"text/template"
	"unicode"
)

// messages are the texts of a language: each key with its forms.
func messages(t *testing.T, tag string) map[string]map[string]string {
	t.Helper()
	b, err := catalogue.ReadFile("text/" + tag + ".json")
	if err != nil {
		t.Fatal(err)
	}
	var raw map[string]any
	if err := json.Unmarshal(b, &raw); err != nil {
		t.Fatal(err)
	}
	out := map[string]map[string]string{}
	for k, v := range raw {
		switch x := v.(type) {
		case string:
			out[k] = map[string]string{"other": x}
		case map[string]any:
			out[k] = map[string]string{}
			for form, s := range x {
				out[k][form], _ = s.(string)
			}
		}
	}
	return out
}

// sources are the program's own files, parsed.
func sources(t *testing.T) (*token.FileSet, []*ast.File) {
	t.Helper()
	set := token.NewFileSet()
	var files []*ast.File
	for _, dir := range []string{".", "look", "../cmd/readback"} {
		pkgs, err := fs.Glob(os.DirFS(dir), "*.go")
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range pkgs {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			f, err := parser.ParseFile(set, dir+"/"+name, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			files = append(files, f)
		}
	}
	return set, files
}

// shows are the constructors whose texts a person reads, with the arguments that are text.
var shows = map[string][]int{
	"Title": {0}, "Lead": {0}, "Head": {0}, "Body": {0}, "Small": {0}, "Fine": {0}, "Mono": {0}, "Styled": {0}, "Badge": {0}, "State": {1}, "Bubble": {2},
	"NewButton": {1}, "NewTick": {1}, "NewStep": {2, 3}, "NewChoice": {1}, "NewField": {1}, "NewHold": {1}, "NewGate": {1}, "SetPlaceHolder": {0},
	"NewLabel": {0}, "NewRichTextFromMarkdown": {0}, "NewText": {0}, "NewCheck": {0}, "header": {0, 1}, "fact": {0, 1}, "empty": {0, 1, 3}, "NewWindow": {0},
}

// TestNoTextOutsideTheCatalogue: no constructor of anything that is read gets words that are written in the code.
func TestNoTextOutsideTheCatalogue(t *testing.T) {
	set, files := sources(t)
	seen := 0
	for _, f := range files {
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			args, ok := shows[calledName(call)]
			if !ok {
				return true
			}
			seen++
			for _, i := range args {
				if i >= len(call.Args) {
					continue
				}
				if s := wordsIn(call.Args[i]); s != "" {
					t.Errorf("%s: %s(%q): the words belong into text/en.json", set.Position(call.Pos()), calledName(call), s)
				}
			}
			return true
		})
	}
	if seen < 100 {
		t.Errorf("only %d constructors seen: the walk misses the pages", seen)
	}
}

func calledName(call *ast.CallExpr) string {
	switch f := call.Fun.(type) {
	case *ast.Ident:
		return f.Name
	case *ast.SelectorExpr:
		return f.Sel.Name
	}
	return ""
}

// verbs are what a format string may hold beside words.
var verbs = regexp.MustCompile(`%[-+# 0-9.]*[a-zA-Z]`)

// wordsIn finds words in an expression that are not a key of the catalogue.
func wordsIn(e ast.Expr) string {
	found := ""
	ast.Inspect(e, func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.CallExpr:
			if name := calledName(x); name == "T" || name == "N" || name == "Format" || strings.HasPrefix(name, "Replace") || name == "Join" {
				return false
			}
		case *ast.CompositeLit:
			return false
		case *ast.BasicLit:
			if s, err := strconv.Unquote(x.Value); err == nil && x.Kind == token.STRING && strings.IndexFunc(verbs.ReplaceAllString(s, ""), unicode.IsLetter) >= 0 {
				found = s
			}
		}
		return true
	})
	return found
}

// TestWordsIn checks the check.
func TestWordsIn(t *testing.T) {
	for src, want := range map[string]string{
		`"Connect"`: "Connect", `T("link.connect")`: "", `T("a", "N", 3)`: "", `"**" + T("x") + "** " + f.Text`: "", `"Module " + name`: "Module ",
		`fmt.Sprintf("%s of %s", a, b)`: "%s of %s", `fmt.Sprintf("%02X", a)`: "",
	} {
		e, err := parser.ParseExpr(src)
		if err != nil {
			t.Fatal(err)
		}
		if got := wordsIn(e); got != want {
			t.Errorf("%s: %q, want %q", src, got, want)
		}
	}
}

// TestKeys: every key that the code asks for is in the catalogue, with a form for one where it counts, and nothing in
// the catalogue is unused.
func TestKeys(t *testing.T) {
	known := messages(t, "en")
	_, files := sources(t)
	used, prefixes := map[string]bool{}, []string{}
	for _, f := range files {
		ast.Inspect(f, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.BasicLit: // keys also stand in tables and are handed on
				if s, err := strconv.Unquote(x.Value); err == nil && known[s] != nil {
					used[s] = true
				}
			case *ast.CallExpr:
				name := calledName(x)
				if name != "T" && name != "N" || len(x.Args) == 0 {
					return true
				}
				key, whole := keyOf(x.Args[0])
				switch {
				case key == "":
				case whole && known[key] == nil:
					t.Errorf("%s is not in the catalogue", key)
				case whole && name == "N" && known[key]["one"] == "":
					t.Errorf("%s has no form for one", key)
				case !whole:
					prefixes = append(prefixes, key)
				}
			}
			return true
		})
	}
	for _, p := range prefixes {
		n := 0
		for k := range known {
			if strings.HasPrefix(k, p) {
				used[k] = true
				n++
			}
		}
		if n < 2 {
			t.Errorf("%d keys begin with %q", n, p)
		}
	}
	for k, forms := range known {
		if !used[k] {
			t.Errorf("%s is not used", k)
		}
		for form, s := range forms {
			if _, err := template.New(k).Parse(s); err != nil || s == "" {
				t.Errorf("%s (%s) is no text: %q %v", k, form, s, err)
			}
		}
	}
}

// keyOf is the key that an argument names; of one that is put together, its beginning.
func keyOf(e ast.Expr) (key string, whole bool) {
	switch x := e.(type) {
	case *ast.BasicLit:
		s, err := strconv.Unquote(x.Value)
		return s, err == nil
	case *ast.BinaryExpr:
		s, _ := keyOf(x.X)
		return s, false
	case *ast.CallExpr: // fmt.Sprintf("number.%d", n)
		if len(x.Args) > 0 {
			s, _ := keyOf(x.Args[0])
			s, _, _ = strings.Cut(s, "%")
			return s, false
		}
	}
	return "", false
}

// promises are words that promise too much, or blame, in each language of the catalogue.
var promises = map[string]*regexp.Regexp{
	"en": regexp.MustCompile(`(?i)\b(safe to drive|safely|fixed|ok|okay|oops|sorry|please|invalid|failed!|error)\b`),
	"de": regexp.MustCompile(`(?i)\b(sicher zu fahren|fahrsicher|verkehrssicher|repariert|behoben|ok|okay|in Ordnung|hoppla|leider|bitte|ungültig|fehlgeschlagen|entschuldigung|du|dein|dich|dir)\b`),
}

// TestWordsOfThePages: words that promise too much are in no text.
func TestWordsOfThePages(t *testing.T) {
	for _, l := range Languages() {
		for k, forms := range messages(t, l.Tag) {
			for _, s := range forms {
				if m := promises[l.Tag].FindString(s); promises[l.Tag] == nil || m != "" {
					t.Errorf("%s of %s says %q: %s", k, l.Name, m, s)
				}
			}
		}
	}
}

// TestTextsAreFilled: T and N give the text of the catalogue with its values in place.
func TestTextsAreFilled(t *testing.T) {
	if err := UseLanguage("en"); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ got, want string }{
		{T("link.failed", "Place", "can:can0"), "can:can0 could not be used"},
		{N("n.modules", 1), "1 module"}, {N("n.modules", 2), "2 modules"}, {N("n.modules", 0), "0 modules"},
		{spelled(9), "nine"}, {spelled(13), "13"}, {upperFirst("élan"), "Élan"}, {upperFirst(""), ""},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

package report

import (
	"slices"
	"strings"
	"testing"
)

// evil are texts that have led other programs' pages astray.
var evil = []string{`"><script>alert(1)</script>`, "<img src=x onerror=alert(1)>", "{{.Title}}", "</style><style>", "]]>", "<!--", "&lt;", "\x00\xFF", "javascript:alert(1)", "' onclick='"}

// FuzzHTML: whatever stands in a record, the page has the marks that it would have with any other text in its place.
func FuzzHTML(f *testing.F) {
	for _, s := range evil {
		f.Add(s)
	}
	marks := func(t testing.TB, text string) (n [4]int) {
		d := Build(full())
		d.each(func(string) string { return text })
		d.Shared, d.Removed = true, []string{text}
		for i := range d.Sections {
			d.Sections[i].Title = text
		}
		page := html(t, d)
		for i, m := range []string{"<", ">", `"`, "'"} {
			n[i] = strings.Count(page, m)
		}
		return n
	}
	plain := marks(f, "x")
	f.Fuzz(func(t *testing.T, text string) {
		if got := marks(t, text); got != plain && text != "" { // a part without a text is left out
			t.Fatalf("%q makes the marks %v, not %v", text, got, plain)
		}
	})
}

// FuzzShare: whatever stands around it, no secret is in a copy that is shared, and the original stays.
func FuzzShare(f *testing.F) {
	f.Add("of Grete Miller, at home", "Grete Miller", uint8(0))
	f.Add("serial ", "SER-0099887", uint8(10))
	f.Add("aabb", "ab", uint8(1))
	f.Fuzz(func(t *testing.T, around, secret string, at uint8) {
		secret = strings.TrimSpace(secret)
		i := min(int(at), len(around))
		text := around[:i] + secret + around[i:]
		d := Document{Title: text, Sections: []Section{{Parts: []Part{{Text: text}, {Rows: [][]string{{text}}}}}}}
		for _, s := range []Secrets{{Serials: []string{secret}}, {Names: []string{"x", secret}}, {Places: []string{secret}}} {
			shared := Share(d, s)
			shared.Removed = nil // these lines are ours
			if d.Title != text || d.Sections[0].Parts[1].Rows[0][0] != text {
				t.Fatal("the original has changed")
			}
			told := slices.ContainsFunc(texts(shared), func(got string) bool {
				return strings.Contains(strings.ReplaceAll(got, removed, "\n"), secret)
			})
			if len(secret) >= 2 && !strings.Contains(secret, "\n") && told {
				t.Fatalf("%q is told: %q", secret, texts(shared))
			}
		}
	})
}

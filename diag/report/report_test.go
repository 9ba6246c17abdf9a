package report

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/tongue"
)

const secretVIN = "0TNCE23E3P0004217"

func status(s dtc.Status) *dtc.Status { return &s }

// full is a report that holds everything a report can hold, secrets included.
func full() Input {
	made := time.Date(2026, 11, 25, 14, 30, 0, 0, time.FixedZone("CET", 3600))
	flap := garage.CodeRecord{Code: dtc.From3(0x1D, 0x5A, 0x13), Raw: garage.Hex{0x1D, 0x5A, 0x13}, Status: status(0x2F),
		Snapshots: []garage.Snapshot{{Record: 1, Raw: append(garage.Hex{0x02, 0xDD, 0x00, 0xF1, 0x90}, secretVIN...), Values: []garage.Value{
			{Identifier: 0xDD00, Name: "Odometer", Text: "41 198 km"}, {Identifier: 0xF190, Raw: garage.Hex(secretVIN)}}}},
		Extended: []garage.Extended{{Record: 1, Name: "Times seen", Text: "14", Raw: garage.Hex{14}}}}
	heard := garage.CodeRecord{Code: dtc.From3(0xC1, 0x40, 0x87), Raw: garage.Hex{0xC1, 0x40, 0x87}, Status: status(0x28)}
	module := func(codes ...garage.CodeRecord) garage.Module {
		return garage.Module{Name: "Charging", NameSource: "read from the module", Request: link.ID11(0x7E5), Answer: link.ID11(0x7ED), Protocol: "UDS", Answered: garage.Yes, CodesRead: garage.Yes,
			Availability: status(0xFF), Codes: codes, Identification: map[string]string{"F187": "TN-4711-CHG", "F188": "SW 3.1", "F18C": "SER-0099887", "F190": secretVIN}}
	}
	silent := garage.Module{Name: "Module 7E6", NameSource: "its identifier", Request: link.ID11(0x7E6), Answer: link.ID11(0x7EE), Answered: garage.Silent, CodesRead: garage.NotAsked}
	begun := made.Add(-28 * time.Minute)
	before := garage.Visit{ID: 3, CarID: 1, Kind: garage.KindBefore, Begun: begun, Ended: begun.Add(20 * time.Second), Complete: true, Place: "serial:/home/mrs.miller/dev/ttyUSB0", Adapter: "USB serial adapter", Supply: 12.7, Odometer: "41 206 km, typed", Modules: []garage.Module{module(flap, heard), silent}}
	after := before
	after.ID, after.Kind, after.Begun, after.Supply, after.Complete = 4, garage.KindReadBack, begun.Add(7*time.Minute), 12.6, false
	after.Modules = []garage.Module{module(flap), silent}
	return Input{
		Program: "Readback 1.0", Made: made, Who: "Grete Miller", Purpose: "the workshop in town",
		Car:    garage.Car{ID: 1, Name: "Grete's blue van", VIN: secretVIN, Model: "Tarn Courier E", Place: "serial:/home/mrs.miller/dev/ttyUSB0", Odometer: "41 206 km, typed"},
		Before: before, After: &after,
		Change: &garage.Entry{ID: 9, CarID: 1, Before: 3, ReadBack: 4, Request: "7E5#0414FFFFFF555555", Summary: "Asks the Charging module to forget 2 codes.", Words: "maple orbit thirteen", Begun: begun.Add(6 * time.Minute), Ended: begun.Add(6*time.Minute + time.Second),
			Outcome: garage.Accepted, Answers: []string{"7ED after 12 ms: 7F1478 (understood, wait)", "7ED after 38 ms: 54 (done)", "frames 10 14 62 F1 90 30 54 4E | 21 43 45 32 33 45 33 50 | 22 30 30 30 34 32 31 37"},
			Latches: `[{"latch":"standing","title":"The car is standing still","value":"0 km/h","source":"car","at":"2026-11-25T13:07:00Z","why":"read from the car"}]`},
		Compare:  []Compared{{"Charging", "P1D5A-13", "there now", "there now", "Back already: it is a fault of today."}, {"Charging", "U0140-87", "remembered", "gone", "Gone."}},
		Meter:    []garage.MeterReading{{Spot: "car:6-14", Value: "60.4 Ω", At: begun}},
		Notes:    []garage.Note{{Code: "P1D5A-13", Text: "Charge-flap lock, says <b>Otto</b> & co.", Who: "Otto Brandt", Where: "page 4", At: begun}},
		Proof:    []Step{{"R2", made, "Ignition off, wait 5 minutes.", "open"}},
		Returns:  []Return{{"Charging", "P1D5A-13", "Found 4 times. The gaps were 55 days, 40 days, 19 days."}},
		Frames:   []garage.Recording{{File: "20261125-140200-00112233.pcapng", Frames: 812, Digest: garage.Hex{0xAB, 0xCD}}},
		Previous: garage.Hex{0x12, 0x34},
	}
}

// texts are all texts of a document.
func texts(d Document) []string {
	out := append([]string{d.Title, d.Lead}, d.Removed...)
	for _, s := range d.Sections {
		out = append(out, s.Title)
		for _, p := range s.Parts {
			out = append(out, p.Text)
			out = append(out, p.Head...)
			for _, r := range p.Rows {
				out = append(out, r...)
			}
		}
	}
	return slices.DeleteFunc(out, func(s string) bool { return strings.TrimSpace(s) == "" })
}

func html(t testing.TB, d Document) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func pdf(t *testing.T, d Document, in Input) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := PDF(&b, d, in.Made); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The blocks that a record must have (common practice of before-and-after reports).
func TestBuild(t *testing.T) {
	d := Build(full())
	all := strings.Join(texts(d), "\n")
	for _, want := range []string{"Grete's blue van", secretVIN, "Tarn Courier E", "41 206 km", "25 November 2026, 14:02:00", "UTC", "12.7 V", "12.6 V", "USB serial adapter", "60.4 Ω",
		"Charging (read from the module)", "7E5 / 7ED", "part number TN-4711-CHG", "software SW 3.1", "serial number SER-0099887", "Module 7E6", "silent", "P1D5A-13", "1D 5A 13", "2F & FF", "There now.", "Odometer 41 198 km", "Times seen 14",
		"7E5#0414FFFFFF555555", "maple orbit thirteen", "accepted", "7ED after 38 ms: 54", "The car is standing still", "0 km/h", "Back already", "Otto Brandt", "R2", "Found 4 times", "not complete", "not an empty list", "1234", "ABCD", "An erase is not a repair"} {
		if !strings.Contains(all, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	in := full()
	in.After, in.Change, in.Compare, in.Previous = nil, nil, nil, nil
	one := strings.Join(texts(Build(in)), "\n")
	if strings.Contains(one, "Before and after") || !strings.Contains(one, "first report") || !strings.Contains(one, "P1D5A-13") {
		t.Error("the report of one visit is not that")
	}
}

func TestHTML(t *testing.T) {
	in := full()
	page := html(t, Build(in))
	for _, bad := range []string{"<script", "<b>Otto</b>", "http://", "https://", "javascript:", "onerror", "url("} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if !strings.Contains(page, "default-src 'none'") {
		t.Error("the page may fetch things")
	}
	in.Car.Practice = true
	if !strings.Contains(html(t, Build(in)), "PRACTICE") {
		t.Error("a practice car is not marked")
	}
}

// Whatever stands in a record is escaped.
func TestHTMLEscapes(t *testing.T) {
	evil := `"><script>alert(1)</script><img src=x onerror=alert(1)>{{.}}`
	in := full()
	in.Who, in.Purpose, in.Car.Name, in.Car.Model, in.Car.VIN, in.Before.Adapter, in.Before.Place = evil, evil, evil, evil, evil, evil, evil
	in.Change.Summary, in.Change.Answers, in.Change.Latches = evil, []string{evil}, evil
	in.Notes[0].Text, in.Notes[0].Where = evil, evil
	in.After.Modules[0].Name, in.After.Modules[0].Identification = evil, map[string]string{"F187": evil}
	page := html(t, Build(in))
	if strings.Contains(page, "<script>alert") || strings.Contains(page, "<img src") {
		t.Error("text from a record became part of the page")
	}
}

// TestShareInAnotherLanguage: a number that is a secret is none the less when it is written with another decimal mark.
func TestShareInAnotherLanguage(t *testing.T) {
	in := full()
	in.Language = speaking(t, "de")
	in.Before.Modules[0].Identification = map[string]string{"F18C": "4711.25"}
	in.After.Modules[0].Codes[0].Snapshots[0].Values = []garage.Value{{Name: "Odometer", Text: "4711.25"}}
	if all := strings.Join(texts(Build(in)), "\n"); !strings.Contains(all, "Kilometerstand 4711,25") {
		t.Error("the number is not written as German has it")
	}
	if all := strings.Join(texts(Share(Build(in), SecretsOf(in))), "\n"); strings.Contains(all, "4711.25") || strings.Contains(all, "4711,25") || !strings.Contains(all, "[entfernt]") {
		t.Error("the copy tells the number")
	}
}

// TestBuildGerman: what the report says of itself is German; what people and modules have written stays.
func TestBuildGerman(t *testing.T) {
	in := full()
	in.Language = speaking(t, "de")
	in.Car.Practice = true
	d := Build(in)
	all := strings.Join(texts(d), "\n")
	for _, want := range []string{"Fehlercodes vor und nach einer Änderung: Grete's blue van", secretVIN, "41 206 km", "25. November 2026, 14:02:00", "Gelesen am", "12,7 V", "12,6 V", "60,4 Ω",
		"Laden (aus dem Steuergerät gelesen)", "Teilenummer TN-4711-CHG", "Seriennummer SER-0099887", "Steuergerät 7E6", "keine Antwort", "Jetzt vorhanden.", "Kilometerstand 41 198 km",
		"angenommen", "Das Auto steht still", "says <b>Otto</b> & co.", "Löschen ist keine Reparatur", "nicht vollständig", "Lücke"} {
		if !strings.Contains(all, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	page := html(t, d)
	for _, want := range []string{`<html lang="de">`, "ÜBUNG: ein simuliertes Auto", "Änderung", "&lt;b&gt;Otto&lt;/b&gt;"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(page, "<script") {
		t.Error("the page holds a script")
	}
}

// TestEveryWordIsTold: what the source of the report says of itself has words in every language.
func TestEveryWordIsTold(t *testing.T) {
	said := map[string]bool{removed: true}
	for _, m := range regexp.MustCompile(`tell \. "([^"]+)"`).FindAllStringSubmatch(page, -1) {
		said[m[1]] = true
	}
	for _, p := range plates {
		said[p.name] = true
	}
	for _, s := range ofOwner {
		said[s] = true
	}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	speak := map[string]bool{"Tell": true, "Say": true, "section": true, "codes": true, "unknown": true, "table": true, "facts": true}
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			name, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || !speak[name.Sel.Name] {
				return true
			}
			for _, arg := range call.Args {
				ast.Inspect(arg, func(n ast.Node) bool {
					if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
						s, err := strconv.Unquote(l.Value)
						if err != nil {
							t.Fatal(err)
						}
						said[s] = true
					}
					_, inner := n.(*ast.CallExpr)
					return !inner // it is looked at by itself
				})
			}
			return true
		})
	}
	for _, s := range []string{"", " (", ")", "SHA-256"} { // the same in every language
		delete(said, s)
	}
	if len(said) < 90 {
		t.Errorf("only %d texts", len(said))
	}
	for _, tag := range tongue.Tags() {
		l := speaking(t, tag)
		for s := range said {
			if got, ok := l.Find(s); !ok || strings.Count(got, "{") != strings.Count(s, "{") {
				t.Errorf("%s has no words for %q: %q", tag, s, got)
			}
		}
	}
}

// The text of the PDF, as pdftotext (poppler) extracts it, is the text of the document.
func TestPDF(t *testing.T) {
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Fatal("pdftotext is missing: it comes with poppler-utils")
	}
	for tag, foot := range map[string]string{"en": `(?m)^Page \d+ of \d+$`, "de": `(?m)^Seite \d+ von \d+$`} {
		t.Run(tag, func(t *testing.T) { printed(t, tool, speaking(t, tag), regexp.MustCompile(foot)) })
	}
}

func printed(t *testing.T, tool string, l *tongue.Tongue, footer *regexp.Regexp) {
	in := full()
	in.Language = l
	d := Build(in)
	d.Lead += " {nb} {{nb}}" // what the library writes the number of pages over
	file := filepath.Join(t.TempDir(), "report.pdf")
	raw := pdf(t, d, in)
	if err := os.WriteFile(file, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), tool, "-raw", "-enc", "UTF-8", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	// Cells are broken into lines, and long words inside: what must agree is every letter, as often as it stands there.
	got, want := letters(footer.ReplaceAllString(string(out), "")), letters(strings.Join(texts(d), ""))
	for r, n := range want {
		if got[r] != n {
			t.Errorf("%q stands %d times in the PDF and %d times in the document", r, got[r], n)
		}
	}
	for r, n := range got {
		if want[r] == 0 {
			t.Errorf("%q stands %d times in the PDF and not in the document", r, n)
		}
	}
	if flat := strings.Join(strings.Fields(string(out)), " "); !strings.Contains(flat, "7E5#0414FFFFFF555555") || !strings.Contains(flat, secretVIN) {
		t.Error("what must not be broken is broken")
	}
}

// letters counts the letters of a text that print.
func letters(s string) map[rune]int {
	out := map[rune]int{}
	for _, r := range s {
		if !unicode.IsSpace(r) && r != '\f' {
			out[r]++
		}
	}
	return out
}

// A shared copy is searched for every secret in every form: letters of either case, bytes in hex with and without
// separators, base64, UTF-16, reversed halves of frames.
func TestShare(t *testing.T) {
	for tag, keeps := range map[string][]string{"en": {"part number TN-4711-CHG", "60.4 Ω", "Removed from this copy", "Shared copy"}, "de": {"Teilenummer TN-4711-CHG", "60,4 Ω", "Aus dieser Kopie entfernt", "Kopie zum Weitergeben"}} {
		t.Run(tag, func(t *testing.T) { share(t, speaking(t, tag), append(keeps, "P1D5A-13", "7E5#0414FFFFFF555555")) })
	}
}

func speaking(t *testing.T, tag string) *tongue.Tongue {
	t.Helper()
	l, err := tongue.Of(tag)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func share(t *testing.T, l *tongue.Tongue, keeps []string) {
	in := full()
	in.Language = l
	d := Build(in)
	secrets := SecretsOf(in)
	shared := Share(d, secrets)
	if strings.Join(texts(d), "") == strings.Join(texts(shared), "") {
		t.Fatal("nothing was taken out")
	}
	all := strings.Join(texts(shared), "\n") + html(t, shared)
	tail := secretVIN[10:] // what names the one car
	forms := map[string]string{}
	for _, s := range []string{secretVIN, tail, "SER-0099887", "Grete Miller", "Grete's blue van", "Otto Brandt", "mrs.miller"} {
		forms["letters of "+s] = regexp.QuoteMeta(s)
		pairs := []string{}
		for i := range len(s) {
			pairs = append(pairs, fmt.Sprintf("%02X", s[i]))
		}
		for _, sep := range []string{"", " ", "-", ":"} {
			forms[fmt.Sprintf("bytes of %s with %q", s, sep)] = strings.Join(pairs, sep)
		}
	}
	for i := 0; i+3 <= len(tail); i++ { // the serial number in pieces, as frames carry it
		forms[fmt.Sprint("a piece of the serial number from ", i)] = strings.ToUpper(hex.EncodeToString([]byte(tail[i : i+3])))
	}
	for what, form := range forms {
		if m := regexp.MustCompile("(?i)" + form).FindString(all); m != "" {
			t.Errorf("the shared copy holds %s: %q", what, m)
		}
	}
	for _, frame := range []string{"21 43 45 32 33 45 33 50", "22 30 30 30 34 32 31 37"} {
		if strings.Contains(all, frame) {
			t.Errorf("the shared copy holds the frame %s", frame)
		}
	}
	if !strings.Contains(all, "0TNCE23E*P*******") {
		t.Error("what may stay of the identification number is gone")
	}
	for _, keep := range keeps {
		if !strings.Contains(all, keep) {
			t.Errorf("the shared copy lost %q", keep)
		}
	}
	if len(shared.Removed) < 4 {
		t.Errorf("the list of what was removed: %q", shared.Removed)
	}
	if !strings.Contains(strings.Join(texts(d), ""), secretVIN) {
		t.Error("the original was changed")
	}
}

// TestShareOddSecrets: numbers that are no text, as a module may tell them.
func TestShareOddSecrets(t *testing.T) {
	for _, c := range []struct {
		name, text, want string
		s                Secrets
	}{
		{"no UTF-8", "serial 0\x98, 0", "serial [removed], 0", Secrets{Serials: []string{"0\x98"}}},
		{"no UTF-8, as bytes", "3098FF 30 98 ff 30", "[removed] [removed] 30", Secrets{Serials: []string{"0\x98\xFF"}}},
		{"an identification number that is no UTF-8", "0TNCE23E3P00\xFF4217", "0TNCE23E*P*******", Secrets{VIN: "0TNCE23E3P00\xFF4217"}},
		{"a number in hex, in a frame", "7ED 62 F1 8C 0A 1B 2C 3D, 0a1b2c3d", "7ED 62 F1 8C [removed], [removed]", Secrets{Serials: []string{"0A1B2C3D"}}},
		{"hex in hex", "3041 0A", "3041 0A", Secrets{Serials: []string{"0A1B2C"}}},
	} {
		shared := Share(Document{Title: c.text}, c.s)
		if shared.Title != c.want || (len(shared.Removed) > 0) != (c.text != c.want) {
			t.Errorf("%s: %q, %q; want %q", c.name, shared.Title, shared.Removed, c.want)
		}
	}
}

func TestMaskVIN(t *testing.T) {
	if got := MaskVIN(secretVIN); got != "0TNCE23E*P*******" {
		t.Error(got)
	}
}

func TestRedactedTextStays(t *testing.T) {
	s := Secrets{VIN: secretVIN}
	x := sharing{s, removed, map[string]int{}}
	for _, text := range []string{"7E5#0414FFFFFF555555", "25 November 2026, 14:02:00", "12.7 V", "1D 5A 13", "30 30", "record 1"} {
		if got := x.maskVIN(text); got != text {
			t.Errorf("%q became %q", text, got)
		}
	}
}

// A long table goes over many pages and loses nothing.
func TestLongPDF(t *testing.T) {
	in := full()
	for i := range 400 {
		c := in.Before.Modules[0].Codes[1]
		c.Code = dtc.From3(0xC1, byte(i>>4), byte(i))
		in.Before.Modules[0].Codes = append(in.Before.Modules[0].Codes, c)
	}
	raw := pdf(t, Build(in), in)
	if n := bytes.Count(raw, []byte("/Type /Page\n")); n < 10 {
		t.Errorf("400 codes on %d pages", n)
	}
}

package explain

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"readback/diag/link"
	"readback/testdata"
)

// leaf is one parameter of a decoded tree, in the order of the bytes.
type leaf struct {
	name  string
	size  int
	value int    // of a leaf of up to four bytes
	label string // what the other library makes of it
}

// leaves reads the tree of an example. Its order is that of the bytes, so it is read token by token.
func leaves(t *testing.T, tree json.RawMessage) []leaf {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(tree))
	var out []leaf
	var read func(name string, within bool) (value any)
	list := func(x any) []any { l, _ := x.([]any); return l }
	keep := func(name string, x any) {
		l := leaf{name: name, size: sizeOfLeaf(name)}
		switch x := x.(type) {
		case float64:
			l.value = int(x)
		case []any:
			switch {
			case strings.HasPrefix(name, "DID") && !strings.Contains(name, "#"):
				for _, v := range x {
					l := l
					if pair := list(v); pair != nil {
						v = pair[0]
					}
					l.value = int(v.(float64))
					out = append(out, l)
				}
				return
			case strings.HasSuffix(name, "data") || strings.Contains(name, "Record") && !strings.Contains(name, "Number"):
				l.size = len(x)
			default:
				l.value = int(x[0].(float64))
				l.label = fmt.Sprint(x[1])
			}
		}
		out = append(out, l)
	}
	read = func(name string, quiet bool) any {
		tok, err := d.Token()
		if err != nil {
			t.Fatal(err)
		}
		switch tok {
		case json.Delim('{'):
			var raw any
			for d.More() {
				key, _ := d.Token()
				switch key {
				case "raw":
					raw = read(name, true)
				case "bits":
					composite := strings.Contains(name, " and ")
					if !composite && !quiet {
						keep(name, raw)
					}
					d.Token()
					for d.More() {
						inner, _ := d.Token()
						if x := read(inner.(string), !composite); composite && !wasKept(inner.(string)) {
							keep(inner.(string), x)
						}
					}
					d.Token()
				default:
					if x := read(key.(string), quiet); x != nil && !quiet {
						keep(key.(string), x)
					}
				}
			}
			d.Token()
			return nil
		case json.Delim('['):
			var l []any
			for d.More() {
				if x := read(name, quiet); x != nil {
					l = append(l, x)
				}
			}
			d.Token()
			if l == nil {
				return nil
			}
			return l
		}
		return tok
	}
	read("", false)
	return out
}

// wasKept: parameters of bits keep themselves when they are read.
func wasKept(name string) bool { return name == "DTCStatus" || name == "DTCSeverity" }

func sizeOfLeaf(name string) int {
	switch {
	case name == "DTC", name == "groupOfDTC":
		return 3
	case strings.HasSuffix(name, " data"):
		return 1 // where it is bits; else its length counts
	case name == "DTCCount", strings.HasPrefix(name, "DID") && !strings.HasPrefix(name, "DIDCount"):
		return 2
	case name == "sessionParameterRecord":
		return 4
	}
	return 1
}

// inOneField are parameters that one field says together.
var inOneField = []string{"A code", "A snapshot"}

// notOurs are examples that are read in another way here, and why.
var notOurs = map[string]string{
	"3eff":                       "no standard has the sub-function 7F; the example only tests the bit that asks for silence",
	"850100":                     "an option record is read only where it is a group of codes",
	"85c07d9da89b158dae102cba0f": "no standard has the sub-function 40; what follows is not read then",
}

// The payloads that py-uds (MIT) tests itself with, and what it decodes them to: our fields begin and end where its
// parameters do, and say the same numbers, codes and states.
func TestExamplesOfAnotherLibrary(t *testing.T) {
	z, err := gzip.NewReader(bytes.NewReader(testdata.UDSExamples))
	if err != nil {
		t.Fatal(err)
	}
	met, skipped := 0, 0
	for s := bufio.NewScanner(z); s.Scan(); {
		var x struct {
			Hex  string          `json:"hex"`
			Tree json.RawMessage `json:"tree"`
		}
		if err := json.Unmarshal(s.Bytes(), &x); err != nil {
			t.Fatal(err)
		}
		p := unhex(x.Hex)
		if notOurs[x.Hex] != "" {
			skipped++
			continue
		}
		met++
		e := ExplainMessage(link.Physical(link.ID11(0x7E0), link.ID11(0x7E8)), p, Options{})
		soundMessage(t, x.Hex, e, p)
		if e.Service != fmt.Sprintf("%02X", p[0]&^0x40) {
			t.Errorf("%s: service %s", x.Hex, e.Service)
		}
		agrees(t, x.Hex, e, leaves(t, x.Tree))
	}
	if met != 172 || skipped != len(notOurs) {
		t.Errorf("%d examples compared, %d skipped", met, skipped)
	}
}

func agrees(t *testing.T, name string, e Explanation, tree []leaf) {
	t.Helper()
	fields := e.Fields[1:]
	at, i := 0, 0
	for _, l := range tree {
		for i < len(fields) && fields[i].To <= at {
			i++
		}
		if i == len(fields) {
			t.Errorf("%s: %s at %d is beyond the fields", name, l.name, at)
			return
		}
		f := fields[i]
		inside := slices.Contains(inOneField, f.Name) || l.name == "sessionParameterRecord"
		if (f.From != at || f.To != at+l.size) && !inside || f.Name == "Not understood" {
			t.Errorf("%s: %s is %d to %d, our field %q %d to %d", name, l.name, at, at+l.size, f.Name, f.From, f.To)
		}
		for _, want := range wordsOf(l, f) {
			if !strings.Contains(f.Text, want) {
				t.Errorf("%s: %s %d %s: no %q in %q", name, l.name, l.value, l.label, want, f.Text)
			}
		}
		at += l.size
	}
	if at != len(e.Payload) {
		t.Errorf("%s: the tree has %d bytes of %d", name, at, len(e.Payload))
	}
}

// wordsOf are words that a field must have for a parameter.
func wordsOf(l leaf, f Field) (out []string) {
	switch {
	case l.name == "DTC" && f.Name == "A code" && strings.HasPrefix(f.Text, "Code "):
		out = []string{fmt.Sprintf("%02X %02X %02X", l.value>>16, l.value>>8&0xFF, l.value&0xFF)} // a form without letters
	case l.name == "DTC":
		out = []string{l.label}
	case l.name == "DTCStatus":
		out = []string{fmt.Sprintf("status %02X", l.value)}
	case l.name == "DTCSeverity":
		out = []string{fmt.Sprintf("everity byte %02X", l.value)}
	case l.name == "DTCFunctionalUnit":
		out = []string{fmt.Sprintf("Unit number %02X", l.value)}
	case l.name == "DTCCount":
		out = []string{fmt.Sprint(l.value) + " code"}
	case l.size == 2:
		out = []string{fmt.Sprintf("%04X", l.value)}
	case l.name == "DTCStatusMask" && l.value != 0 && l.value != 0xFF, l.name == "DTCStatusAvailabilityMask" && l.value != 0:
		for i, n := range statusBits {
			if l.value>>i&1 == 1 {
				out = append(out, n)
			}
		}
	case l.name == "DTCFormatIdentifier" && l.label != "":
		out = []string{strings.Fields(l.label)[1]} // "J2012-DA", "14229-1"
	case l.name == "DTCFaultDetectionCounter":
		out = []string{fmt.Sprintf("counter at %d ", int8(l.value))}
	case l.name == "sessionParameterRecord" && f.Name == "How fast":
		out = []string{fmt.Sprintf("%d ms", l.value>>16)}
	}
	return out
}

// soundMessage checks what holds for every explanation of a message.
func soundMessage(t *testing.T, name string, e Explanation, p []byte) {
	t.Helper()
	if e.Summary == "" || e.Reason == "" || e.Frame != nil || e.Words != nil || !bytes.Equal(e.Payload, p) || len(e.Fields) == 0 || e.Sure == "" {
		t.Errorf("%q: an empty part: %+v", name, e)
		return
	}
	if danger(e.Class) < danger(Look) || e.Class == "" {
		t.Errorf("%q: class %q", name, e.Class)
	}
	at := 0
	for _, f := range e.Fields[1:] {
		if f.From != at || f.To <= f.From || f.To > len(p) || f.Hex != hexOf(p[f.From:f.To]) || f.Name == "" || f.Text == "" || f.Source == "" {
			t.Errorf("%q: field %+v, want it at %d", name, f, at)
			return
		}
		at = f.To
	}
	if at != len(p) {
		t.Errorf("%q: fields end at %d of %d", name, at, len(p))
	}
}

package explain

import (
	"fmt"
	"strings"
)

// Compare puts two requests side by side, byte beside byte. A byte that one of them has more is seen as that, not as a
// difference of all that follow. What a difference means is taken from the field it lies in.
func Compare(a, b string, o Options) Comparison {
	c := Comparison{A: Explain(a, o), B: Explain(b, o), Differences: []Difference{}, Rows: []Row{}}
	x, y := c.A.Frame, c.B.Frame
	if x == nil || y == nil {
		switch {
		case x == nil && y == nil:
			c.Summary = "Neither can be read as a request."
		case x == nil:
			c.Summary = "The first can't be read as a request."
		default:
			c.Summary = "The second can't be read as a request."
		}
		return c
	}
	digits := 0
	if x.ID != y.ID {
		digits = digitsApart(x.IDText, y.IDText)
	}
	c.Rows = append([]Row{{A: -1, B: -1, Same: x.ID == y.ID}}, aligned(x.Data, y.Data)...)
	next, shift := 0, 0 // the place in the first frame that comes next, and how far the second is ahead of it
	for _, r := range c.Rows {
		if r.A != Gap && r.B != Gap {
			next, shift = r.A+1, r.B-r.A
		}
		if r.Same {
			continue
		}
		d := Difference{Byte: r.A, Shift: shift}
		d.A, d.B = rowText(x, r.A), rowText(y, r.B)
		switch Gap {
		case r.A:
			d.Byte, d.Shift = next, r.B-next
			shift++
		case r.B:
			next++
			shift--
		}
		d.Kind, d.Text = differs(c.A, c.B, r)
		if r.A >= 0 && r.B >= 0 {
			digits += digitsApart(d.A, d.B)
		} else if r.A != -1 {
			digits += 2
		}
		c.Differences = append(c.Differences, d)
	}
	c.Same = len(c.Differences) == 0
	switch n := len(c.Differences); {
	case c.Same:
		c.Summary = "The two are the same, byte for byte."
	case n == 1 && digits == 1:
		c.Summary = fmt.Sprintf("One digit differs: %s. %s", placeName(c.Differences[0].Byte), effect(c))
	case n == 1:
		c.Summary = fmt.Sprintf("One place differs: %s. %s", placeName(c.Differences[0].Byte), effect(c))
	default:
		c.Summary = fmt.Sprintf("%d places differ. %s", n, effect(c))
	}
	return c
}

// aligned pairs the bytes of two data fields so that the fewest differ. A byte that only one has costs as much as one
// that differs; at the end of a frame, where filling makes up for what is missing, half as much.
func aligned(a, b []byte) []Row {
	var cost [9][9]int // of aligning a[i:] with b[j:]
	gap := func(d []byte, i int) int {
		if filling(d[i:]) {
			return 1
		}
		return 2
	}
	for i := len(a); i >= 0; i-- {
		for j := len(b); j >= 0; j-- {
			switch {
			case i == len(a) && j == len(b):
			case i == len(a):
				cost[i][j] = cost[i][j+1] + gap(b, j)
			case j == len(b):
				cost[i][j] = cost[i+1][j] + gap(a, i)
			default:
				cost[i][j] = min(cost[i+1][j+1]+apart(a[i], b[j]), cost[i+1][j]+2, cost[i][j+1]+2)
			}
		}
	}
	var rows []Row
	for i, j := 0, 0; i < len(a) || j < len(b); {
		switch {
		case i < len(a) && j < len(b) && cost[i][j] == cost[i+1][j+1]+apart(a[i], b[j]):
			rows = append(rows, Row{A: i, B: j, Same: a[i] == b[j]})
			i, j = i+1, j+1
		case i < len(a) && (j == len(b) || cost[i][j] == cost[i+1][j]+2):
			rows = append(rows, Row{A: i, B: Gap})
			i++
		default:
			rows = append(rows, Row{A: Gap, B: j})
			j++
		}
	}
	return rows
}

func apart(a, b byte) int {
	if a == b {
		return 0
	}
	return 2
}

func rowText(f *Frame, at int) string {
	switch at {
	case Gap:
		return ""
	case -1:
		return f.IDText
	}
	return byteText(f.Data, at)
}

// effect says what the second one does, and what may be done with it where that is not the same.
func effect(c Comparison) string {
	var text strings.Builder
	switch {
	case c.A.Summary != c.B.Summary:
		text.WriteString("The second: " + c.B.Summary)
	case onlyFilling(c.Differences):
		text.WriteString("Both ask for the same: only the filling is not. The words to say back differ all the same.")
	default:
		text.WriteString("Both ask for the same, but they are not the same bytes.")
	}
	if c.A.Class != c.B.Class {
		fmt.Fprintf(&text, " What may be done differs: the first %s, the second %s.", classVerb(c.A.Class), classVerb(c.B.Class))
	}
	return text.String()
}

func onlyFilling(d []Difference) bool {
	for _, x := range d {
		if x.Kind != "Filling" {
			return false
		}
	}
	return true
}

// classVerb says a class about one of several frames.
func classVerb(c Class) string {
	switch c {
	case Look:
		return "only looks"
	case Change:
		return "is a change and needs the gate"
	case Workshop:
		return "is for a workshop and is refused here"
	}
	return "is refused"
}

func placeName(i int) string {
	if i < 0 {
		return "the identifier"
	}
	return fmt.Sprintf("byte %d", i+1)
}

func byteText(d []byte, i int) string {
	if i >= len(d) {
		return ""
	}
	return fmt.Sprintf("%02X", d[i])
}

func digitsApart(a, b string) int {
	n := max(len(a), len(b)) - min(len(a), len(b))
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			n++
		}
	}
	return n
}

// differs puts the two meanings of a place beside each other, and names the kind of place.
func differs(a, b Explanation, r Row) (kind, text string) {
	x, y := fieldAt(a, r.A), fieldAt(b, r.B)
	switch {
	case x == nil:
		return y.Name, fmt.Sprintf("Only the second has it: %s: %s", y.Name, y.Text)
	case y == nil:
		return x.Name, fmt.Sprintf("Only the first has it: %s: %s", x.Name, x.Text)
	case x.Name == "Filling" && y.Name == "Filling":
		return x.Name, "Filling in both. It has no meaning, but it is not the same frame."
	case x.Name == y.Name && x.Text == y.Text:
		return x.Name, fmt.Sprintf("%s: the same meaning in both.", x.Name)
	case x.Name == y.Name:
		return x.Name, fmt.Sprintf("%s. First: %s Second: %s", x.Name, x.Text, y.Text)
	}
	return x.Name, fmt.Sprintf("First: %s: %s Second: %s: %s", x.Name, x.Text, y.Name, y.Text)
}

func fieldAt(e Explanation, at int) *Field {
	for i := range e.Fields {
		if f := &e.Fields[i]; at == -1 && f.From == -1 || at >= 0 && f.From <= at && at < f.To && f.From >= 0 {
			return f
		}
	}
	return nil
}

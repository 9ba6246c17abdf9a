package explain

import "fmt"

// Compare puts two requests side by side, byte by byte. What a difference means is taken from the field it lies in.
func Compare(a, b string, o Options) Comparison {
	c := Comparison{A: Explain(a, o), B: Explain(b, o), Differences: []Difference{}}
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
	if x.ID != y.ID {
		c.Differences = append(c.Differences, Difference{Byte: -1, A: x.IDText, B: y.IDText, Text: differs(c.A, c.B, -1)})
	}
	digits := digitsApart(x.IDText, y.IDText)
	for i := range max(len(x.Data), len(y.Data)) {
		p, q := byteText(x.Data, i), byteText(y.Data, i)
		if p != q {
			digits += digitsApart(p, q)
			c.Differences = append(c.Differences, Difference{Byte: i, A: p, B: q, Text: differs(c.A, c.B, i)})
		}
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

// effect says what the second one does.
func effect(c Comparison) string {
	if c.A.Summary == c.B.Summary {
		return "Both ask for the same, but they are not the same bytes."
	}
	return "The second: " + c.B.Summary
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

// differs puts the two meanings of a place beside each other.
func differs(a, b Explanation, at int) string {
	x, y := fieldAt(a, at), fieldAt(b, at)
	switch {
	case x == nil:
		return fmt.Sprintf("Only the second has it: %s: %s", y.Name, y.Text)
	case y == nil:
		return fmt.Sprintf("Only the first has it: %s: %s", x.Name, x.Text)
	case x.Name == "Filling" && y.Name == "Filling":
		return "Filling in both. It has no meaning, but it is not the same frame."
	case x.Name == y.Name && x.Text == y.Text:
		return fmt.Sprintf("%s: the same meaning in both.", x.Name)
	case x.Name == y.Name:
		return fmt.Sprintf("%s. First: %s Second: %s", x.Name, x.Text, y.Text)
	}
	return fmt.Sprintf("First: %s: %s Second: %s: %s", x.Name, x.Text, y.Name, y.Text)
}

func fieldAt(e Explanation, at int) *Field {
	for i := range e.Fields {
		if f := &e.Fields[i]; at == -1 && f.From == -1 || at >= 0 && f.From <= at && at < f.To && f.From >= 0 {
			return f
		}
	}
	return nil
}

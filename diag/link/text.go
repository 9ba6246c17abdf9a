package link

// Text is a data field as text: printable ASCII between filling of 00, FF and blanks, which are left out. ok is false when
// anything else is in it.
func Text(field []byte) (text string, ok bool) {
	for len(field) > 0 && isFilling(field[0]) {
		field = field[1:]
	}
	for len(field) > 0 && isFilling(field[len(field)-1]) {
		field = field[:len(field)-1]
	}
	for _, b := range field {
		if b < ' ' || b > '~' {
			return "", false
		}
	}
	return string(field), true
}

func isFilling(b byte) bool { return b == 0x00 || b == 0xFF || b == ' ' }

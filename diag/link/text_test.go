package link

import "testing"

// Bytes that are not UTF-8 are no filling, but for FF.
func TestText(t *testing.T) {
	for _, c := range []struct {
		field, want string
		ok          bool
	}{
		{"", "", true},
		{"\x00\xff \xff", "", true},
		{"DRIVE", "DRIVE", true},
		{"\xff\xff GW 2.11\x00\x00", "GW 2.11", true},
		{"\x80DRIVE", "", false},
		{"DRIVE\xfe", "", false},
		{"DR\x00IVE", "", false},
		{"DR\x7fIVE", "", false},
	} {
		if got, ok := Text([]byte(c.field)); got != c.want || ok != c.ok {
			t.Errorf("%q: %q %t, want %q %t", c.field, got, ok, c.want, c.ok)
		}
	}
}

package slcan

import (
	"io"
	"strings"
	"testing"
)

// letters never end.
type letters struct{}

func (letters) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'A'
	}
	return len(p), nil
}

// said is a port that says something and takes everything.
type said struct{ io.Reader }

func (said) Write(p []byte) (int, error) { return len(p), nil }
func (said) Close() error                { return nil }

// TestLongestLine: of a line without an end no more is kept than the longest that is read, and it counts as torn. What comes
// behind it is read again.
func TestLongestLine(t *testing.T) {
	type line struct {
		letters int
		torn    bool
	}
	for _, c := range []struct {
		letters int64
		want    line
	}{
		{longestLine, line{longestLine, false}}, {longestLine + 1, line{longestLine, true}}, {64 << 20, line{longestLine, true}},
	} {
		var got []line
		w := newWire(said{io.MultiReader(io.LimitReader(letters{}, c.letters), strings.NewReader("\rt1230\r"))},
			func(text string, torn bool) { got = append(got, line{len(text), torn}) })
		<-w.gone
		if err := w.drop(); err != nil {
			t.Error(err)
		}
		if want := []line{c.want, {len("t1230"), false}}; len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
			t.Errorf("of %d letters: %+v, want %+v", c.letters, got, want)
		}
	}
}

package trace

import (
	"fmt"
	"io"
)

// bounded gives what a reader gives, up to MaxFileSize bytes; where there are more, it ends with errTooLarge. What grows
// while it is read is so noticed, too.
type bounded struct {
	r    io.Reader
	left int64
}

var errTooLarge = fmt.Errorf("it has more than %d bytes", MaxFileSize)

func (b *bounded) Read(p []byte) (int, error) {
	if b.left == 0 && len(p) > 0 {
		n, err := b.r.Read(p[:1])
		if n > 0 {
			err = errTooLarge
		}
		return 0, err
	}
	n, err := b.r.Read(p[:min(int64(len(p)), b.left)])
	b.left -= int64(n)
	return n, err
}

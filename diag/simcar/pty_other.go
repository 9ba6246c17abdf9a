//go:build !linux && !darwin

package simcar

import (
	"errors"
	"fmt"
	"io"
)

// OpenPTY makes a pseudo terminal for ServeSerial. This system has none: the error wraps errors.ErrUnsupported.
func OpenPTY() (master io.ReadWriteCloser, slavePath string, err error) {
	return nil, "", fmt.Errorf("simcar: open pseudo terminal: %w", errors.ErrUnsupported)
}

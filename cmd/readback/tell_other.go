//go:build !windows

package main

import (
	"fmt"
	"os"
)

// tell says something to a person when there is no window to say it in.
func tell(text string) { fmt.Fprintln(os.Stderr, text) }

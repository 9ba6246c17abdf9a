package main

import (
	"fmt"
	"os"

	"golang.org/x/sys/windows"
)

// tell says something to a person when there is no window to say it in. A program without a console has only a
// message box.
func tell(text string) {
	fmt.Fprintln(os.Stderr, text)
	body, err1 := windows.UTF16PtrFromString(text)
	head, err2 := windows.UTF16PtrFromString("Readback")
	if err1 != nil || err2 != nil {
		return
	}
	if _, err := windows.MessageBox(0, body, head, windows.MB_OK|windows.MB_ICONINFORMATION); err != nil {
		fmt.Fprintln(os.Stderr, "readback: message box:", err)
	}
}

package diag_test

import (
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/all"
	"readback/diag/garage"
	"readback/diag/tongue"
)

// TestSystemErrorsAreTold: what the operating system refuses is said in sentences of the language, with the system's own words
// between brackets and nothing of the program's own names of operations.
func TestSystemErrorsAreTold(t *testing.T) {
	german, err := tongue.Of("de")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	there, none := filepath.Join(dir, "there.txt"), filepath.Join(dir, "none", "x.txt")
	if err := os.WriteFile(there, []byte("no recording"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := openStore(t)
	defer s.Close()
	open := func(p adapter.Place) error {
		_, err := diag.Open(t.Context(), diag.Options{Place: p, Drivers: all.Drivers(), Store: s})
		return err
	}
	shut, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := adapter.Place("tcp:" + shut.Addr().String())
	if err := shut.Close(); err != nil {
		t.Fatal(err)
	}
	port := func(cause error) error {
		return &adapter.OpenError{Place: "serial:COM3", Step: adapter.StepPort, Cause: cause}
	}
	form := &diag.ReportFormError{Path: "x.doc"}
	for name, c := range map[string]struct {
		err           error
		english, want string
	}{
		"port gone":     {port(fs.ErrNotExist), "serial:COM3 can't be opened (it is not there).", "lässt sich nicht öffnen (er ist nicht da). Ist der Adapter eingesteckt"},
		"port taken":    {port(fmt.Errorf("x: %w", adapter.ErrTaken)), "another program has it", "(ein anderes Programm hat ihn)"},
		"port by no. 5": {port(fmt.Errorf("ports: %w", syscall.Errno(5))), syscall.Errno(5).Error(), "lässt sich nicht öffnen (" + syscall.Errno(5).Error() + ")"},
		"no serial":     {port(adapter.ErrNotSerial), "it is no serial port", "kein serieller Anschluss"},
		"down":          {port(&adapter.DownError{Name: "can0", Command: "ip link set can0 up"}), "The interface can0 is down. Type this", "Die Schnittstelle can0 ist aus. Tippen Sie in ein Terminal: ip link set can0 up"},
		"no rights":     {port(&adapter.RightsError{Command: "sudo usermod -aG dialout me", Then: "Then log out and in again."}), "Then log out and in again.", "Tippen Sie in ein Terminal: sudo usermod -aG dialout me  Melden Sie sich danach ab"},
		"nobody there":  {open(nobody), "can't be reached", "ist nicht erreichbar ("},
		"no name":       {port(&net.DNSError{Err: "x"}), "no computer of this name", "diesen Namen hat kein"},
		"late":          {&adapter.OpenError{Place: "tcp:x:1", Step: adapter.StepPort, Cause: &net.OpError{Op: "dial", Err: os.ErrDeadlineExceeded}}, "can't be reached (no answer in time)", "nicht erreichbar (keine Antwort in der Zeit)"},
		"no port named": {open("serial:"), "This is not a place", "Das ist kein Ort"},
		"no recording":  {open(adapter.Place("replay:" + none)), "no such file or folder (", "oder diesen Ordner gibt es nicht ("},
		"bad recording": {open(adapter.Place("replay:" + there)), "can't be used. Are its name", "lässt sich nicht benutzen. Stimmen Name"},
		"no folder":     {diag.WriteNew(none, nil), none + ": there is no such file or folder (", none + ": Diese Datei oder diesen Ordner gibt es nicht ("},
		"there already": {diag.WriteNew(there, nil), "It was not written over.", "gibt es schon ("},
		"a folder":      {diag.ReadAll(dir, nil), "is no file. Choose a file.", "ist keine Datei. Wählen Sie eine Datei."},
		"no right":      {&fs.PathError{Op: "open", Path: none, Err: syscall.EACCES}, "This program may not use", "Dieses Programm darf " + none + " nicht benutzen ("},
		"renamed":       {&os.LinkError{Op: "rename", Old: there, New: none, Err: syscall.EXDEV}, "can't be read or written (", none + " lässt sich nicht lesen oder schreiben ("},
		"store full":    {fmt.Errorf("garage: save: %w", garage.ErrFull), "The disk is full", "Der Datenträger ist voll"},
		"store shut":    {fmt.Errorf("garage: save: %w", garage.ErrReadOnly), "The logbook can't be written to", "In das Logbuch kann nicht geschrieben werden"},
		"altered":       {&garage.AlteredError{Visit: 7}, "Visit 7 is not as it was saved", "Besuch 7 ist nicht so, wie er gespeichert wurde: Seine Prüfsumme weicht ab."},
		"not found":     {fmt.Errorf("garage: x: %w", garage.ErrNotFound), "not in the logbook", "steht nicht im Logbuch"},
		"form":          {form, "not as x.doc.", "nicht als x.doc."},
	} {
		english := diag.Sentence(c.err)
		told, known := german.Find(english)
		if !strings.Contains(english, c.english) || !known || !strings.Contains(told, c.want) {
			t.Errorf("%s: %q, %q", name, english, told)
		}
		if m := regexp.MustCompile(`Something|diag:|garage:|open /|ports:`).FindString(english); m != "" {
			t.Errorf("%s: %q says %q", name, english, m)
		}
	}
}

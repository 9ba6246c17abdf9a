package diag

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/isotp"
	"readback/diag/kwp"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/trace"
	"readback/diag/uds"
)

// plain fails for words that only a program says.
func plain(t *testing.T, s string) {
	t.Helper()
	for _, bad := range []string{"link:", "isotp:", "bus:", "uds:", "kwp:", "obd:", "Something went wrong"} {
		if strings.Contains(s, bad) {
			t.Errorf("not for people: %q", s)
		}
	}
	if !strings.HasSuffix(s, ".") {
		t.Errorf("no sentence: %q", s)
	}
}

// TestLogbookSentences: what stops the logbook is said without the store's own words.
func TestLogbookSentences(t *testing.T) {
	cause := errors.New("garage: save visit: (8)")
	for err, want := range map[error]string{
		fmt.Errorf("%w: %w", garage.ErrFull, cause):                                     "The disk is full",
		fmt.Errorf("%w (/home/x/readback.db): %w", garage.ErrReadOnly, cause):           "can't be written to",
		&garage.BusyError{Path: "readback.db", Cause: cause}:                            "Another program has the logbook open",
		&garage.NewerError{Path: "readback.db", Version: 9, Known: 4}:                   "newer edition",
		&garage.DamagedError{Path: "readback.db", KeptAs: "aside.db", Cause: cause}:     "aside.db",
		&garage.FileError{Fault: garage.FaultDamaged, Cause: cause}:                     "damaged",
		errors.Join(errors.New("reading"), fmt.Errorf("%w: %w", garage.ErrFull, cause)): "The disk is full",
	} {
		s := Sentence(err)
		plain(t, s)
		if !strings.Contains(s, want) || strings.Contains(s, "garage:") {
			t.Errorf("%v: %q does not say %q", err, s, want)
		}
	}
}

func TestTroublesAreSentences(t *testing.T) {
	a := link.Physical(link.ID11(0x7E0), link.ID11(0x7E8))
	for err, want := range map[error]string{
		&link.TornError{Address: a, Got: 6, Want: 20, Cause: isotp.ErrTimeoutCr}: "6 of 20 bytes",
		&link.TornError{Address: a, Got: 6, Want: 20, Cause: isotp.ErrNoPair}:    "On which identifier this module listens is not known yet",
		&link.TornError{Address: a, Cause: isotp.ErrOverflow}:                    "only in part.",
		&link.SilenceError{Address: a, Text: "NO DATA"}:                          "no answer came",
		fmt.Errorf("sending: %w", link.ErrTooLong):                               "too long",
		fmt.Errorf("sending: %w", link.ErrNotSent):                               "Nothing was sent",
		fmt.Errorf("reading: %w", bus.ErrGone):                                   "unplugged",
		fmt.Errorf("asking: %w", uds.ErrNoAnswer):                                "did not answer",
		fmt.Errorf("asking: %w", kwp.ErrNoAnswer):                                "did not answer",
		fmt.Errorf("asking: %w", obd.ErrNoAnswer):                                "did not answer",
		fmt.Errorf("asking: %w", uds.ErrNoneAsked):                               "asks the module not to answer",
		fmt.Errorf("asking: %w", kwp.ErrNoneAsked):                               "asks the module not to answer",
		&uds.NegativeError{Service: 0x22, Code: uds.ConditionsNotCorrect}:        "refused: " + uds.ConditionsNotCorrect.Text(),
		&kwp.NegativeError{Service: 0x18, Code: kwp.ConditionsNotCorrect}:        "refused: " + kwp.ConditionsNotCorrect.Text(),
		&obd.NegativeError{Service: 0x03, Code: byte(uds.ConditionsNotCorrect)}:  "refused: " + uds.ConditionsNotCorrect.Text(),
		&uds.ShapeError{Op: "codes", Bytes: []byte{0x59}}:                        "not understood",
		&kwp.ShapeError{Op: "codes", Bytes: []byte{0x58}}:                        "not understood",
		&obd.ShapeError{Op: "codes", Bytes: []byte{0x43}}:                        "not understood",
	} {
		s := Sentence(err)
		plain(t, s)
		if !strings.Contains(s, want) {
			t.Errorf("%v: %q does not say %q", err, s, want)
		}
	}
}

// What goes wrong while a car is read for the first time, long answers of modules that nobody knows yet, is on record in
// sentences.
func TestConversationTellsTroublesInWords(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		v, err := Open(t.Context(), Options{Place: "practice:", Drivers: []adapter.Driver{practice.Driver()}, Store: s})
		if err != nil {
			t.Fatal(err)
		}
		defer v.Close()
		for _, err := range v.Look(t.Context(), "") {
			if err != nil {
				t.Fatal(err)
			}
		}
		troubles := 0
		for _, e := range v.Conversation() {
			if e.Level == trace.Trouble {
				troubles++
				plain(t, e.Text)
			}
		}
		if troubles == 0 {
			t.Error("no trouble is on record")
		}
	})
}

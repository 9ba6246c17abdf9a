package diag_test

import (
	"crypto/sha256"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter/practice"
	"readback/diag/garage"
)

// The whole way: a visit, an erase, and the report of it in both forms, whole and to be shared.
func TestWriteReport(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		look(t, v)
		first, _ := v.Record()
		r := prepare(t, v, "")
		dir := t.TempDir()
		write := func(name string, visit int64, shared bool) (garage.Report, string) {
			t.Helper()
			path := filepath.Join(dir, name)
			kept, _, err := diag.WriteReport(t.Context(), s, visit, path, diag.ReportOptions{Who: "Grete Miller", Shared: shared, Now: time.Now()})
			if err != nil {
				t.Fatal(err)
			}
			b, err := os.ReadFile(path)
			if sum := sha256.Sum256(b); err != nil || string(sum[:]) != string(kept.Digest) {
				t.Errorf("%s: %v, the digest in the logbook is %s", name, err, kept.Digest)
			}
			return kept, string(b)
		}
		one, page := write("change.html", r.Visit, false)
		for _, want := range []string{"PRACTICE", "before and after a change", "7E5#0414FFFFFF555555", "P1D5A-13", "back already", "7F1478", v.Car().VIN, "Grete Miller", "first report"} {
			if !strings.Contains(page, want) {
				t.Errorf("the report does not say %q", want)
			}
		}
		two, shared := write("shared.html", first.ID, true)
		for _, secret := range []string{v.Car().VIN, "Grete Miller"} {
			if strings.Contains(shared, secret) {
				t.Errorf("the shared copy tells %q", secret)
			}
		}
		if !strings.Contains(shared, one.Digest.String()) || two.Previous.String() != one.Digest.String() {
			t.Error("the second report does not name the first")
		}
		if _, pdf := write("change.pdf", r.Visit, false); !strings.HasPrefix(pdf, "%PDF-") {
			t.Errorf("the PDF begins with %q", pdf[:8])
		}
		if _, _, err := diag.WriteReport(t.Context(), s, r.Visit, filepath.Join(dir, "change.pdf"), diag.ReportOptions{Now: time.Now()}); !errors.Is(err, fs.ErrExist) {
			t.Errorf("a file that is there: %v", err)
		}
		var form *diag.ReportFormError
		if _, _, err := diag.WriteReport(t.Context(), s, r.Visit, filepath.Join(dir, "change.doc"), diag.ReportOptions{Now: time.Now()}); !errors.As(err, &form) {
			t.Errorf("another form: %v", err)
		}
		if _, _, err := diag.WriteReport(t.Context(), s, 999, filepath.Join(dir, "none.pdf"), diag.ReportOptions{Now: time.Now()}); !errors.Is(err, garage.ErrNotFound) {
			t.Errorf("a visit that is not there: %v", err)
		}
		all, err := s.Reports(t.Context(), v.Car().ID)
		if err != nil || len(all) != 3 {
			t.Errorf("%d reports in the logbook, %v", len(all), err)
		}
	})
}

// The edition is the same wherever it stands.
func TestVersion(t *testing.T) {
	b, err := os.ReadFile("../FyneApp.toml")
	if err != nil || !strings.Contains(string(b), `Version = "`+diag.Version+`"`) {
		t.Errorf("FyneApp.toml has another edition than %s (%v)", diag.Version, err)
	}
}

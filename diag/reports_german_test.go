//go:build linux || darwin

package diag_test

import (
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/adapter/practice"
	"readback/diag/report"
)

// englishWords are words that no German text has.
var englishWords = regexp.MustCompile(`(?i)\b(the|of|is|are|and|or|not|by|for|from|has|have|module|modules|code|codes|its|it|too|than|then|when|where|this|that|which|no|means|with|inside|wire|plug|fault|` +
	`before|after|made|read|now|there|seen|gone|known|asked|answered|sent|record|page|car|change|step|due|first|value|list|time|times|speed|temperature|supply|voltage|engine|brakes|body|charging|driver)\b`)

// TestReportInGerman: the reports of readings and of a change, with all that the practice cars tell, have no English word.
func TestReportInGerman(t *testing.T) {
	for _, place := range []adapter.Place{"practice:", "practice:runner", "practice:twenty", "serial:drover", "serial:pony", "practice:low-supply", "practice:silent-module", "practice:thirteen-less-two", "practice:crowded"} {
		synctest.Test(t, func(t *testing.T) {
			s := openStore(t)
			defer s.Close()
			var driver adapter.Driver = practice.Driver()
			if car, ok := strings.CutPrefix(string(place), "serial:"); ok {
				driver = pipeDriver{Driver: elm.Driver(), t: t, car: car}
			}
			v := openVisit(t, s, place, driver)
			defer v.Close()
			look(t, v)
			r, _ := v.Record()
			visits := []int64{r.ID}
			if place == "practice:" {
				visits = append(visits, prepare(t, v, "").Visit)
			}
			for _, visit := range visits {
				for _, shared := range []bool{false, true} {
					d, err := diag.Report(t.Context(), s, visit, diag.ReportOptions{Language: "de", Shared: shared, Now: time.Now()})
					if err != nil {
						t.Fatal(err)
					}
					for _, text := range reportTexts(d) {
						if word := englishWords.FindString(strings.ReplaceAll(text, string(place), "")); word != "" {
							t.Errorf("%s: %q has %q", place, text, word)
						}
					}
				}
			}
		})
	}
}

func reportTexts(d report.Document) []string {
	out := append([]string{d.Title, d.Lead}, d.Removed...)
	for _, s := range d.Sections {
		out = append(out, s.Title)
		for _, p := range s.Parts {
			out = append(out, p.Text)
			out = append(out, p.Head...)
			for _, r := range p.Rows {
				out = append(out, strings.Join(r, " | "))
			}
		}
	}
	return out
}

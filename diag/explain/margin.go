package explain

import (
	"fmt"
	"slices"
	"strings"
)

// margin fills what is lost, what can't be done, how sure this is and what it rests on.
func margin(e *Explanation, w who, t transport) {
	e.Source = sourcesOf(e.Fields)
	part := t.kind == first
	if e.Direction != Request || t.kind != single && !part || len(t.payload) == 0 {
		e.Sure = "Only the form of the frame is known."
		if e.Direction == Answer && t.kind == single {
			e.Sure = "The form of the answer is set by the standard. Numbers of the maker's own stay as they are."
		}
		return
	}
	f := readFor(t.payload, w.older())
	switch {
	case f.service == nil:
		e.Sure = "No standard has this request, so nobody can say what a module makes of it."
		return
	case f.service.id == 0x14 || f.service.id == 0x04:
		e.Lost = lost(w, t.payload)
		e.Cannot = []string{repairsNothing, noSettings, "A fault that is there now comes back, often at once.",
			"Permanent codes stay. Only the module erases them, after good trips.", "The VIN, the mileage and crash records stay."}
		e.Sure = sureClear
	default:
		e.Lost, e.Cannot, e.Sure = kindMargin(t.payload, f, w.older())
	}
	switch {
	case part:
		e.Sure = "Only the beginning is known. The rest comes in later pages."
	case !f.complete:
		e.Sure = "This can't be read completely, so nobody can say what a module makes of it."
	}
}

// kindMargin is what the table of margins says of a request.
func kindMargin(p []byte, f form, older bool) (lost, cannot []string, sure string) {
	sub := -1
	if b, ok := f.sub(p); ok {
		sub = int(b)
	}
	sure = sureStandard
	if own(p, f) {
		sure = sureOwn
	}
	r := marginOf(p[0], sub)
	if s := serviceOf(p[0]); r == nil || older && (s == nil || s.verb != f.service.verb) {
		return nil, []string{repairsNothing}, sure
	}
	if r.sure != "" {
		sure = r.sure
	}
	return r.lost, r.cannot, sure
}

// own reports parameters whose meaning only the maker knows.
func own(p []byte, f form) bool {
	switch f.service.id {
	case 0x22, 0x24:
		for i := 1; i+1 < len(p); i += 2 {
			if didName(be16(p[i:])) == "" {
				return true
			}
		}
	case 0x10:
		return !f.complete || len(p) > 1 && f.service.family == ofKWP
	case 0x21, 0x23, 0x2A, 0x2C, 0x2E, 0x2F, 0x31, 0x30, 0x32, 0x33, 0x3B, 0x3D, 0x27, 0x29, 0x84:
		return true
	}
	return false
}

// lost is what a request to erase codes takes away, as far as the record of the module tells. ISO 14229-1 clause 12.2,
// SAE J1979 service 04; what else goes is common practice.
func lost(w who, p []byte) []string {
	one := p[0] == 0x14 && len(p) > 3 && groups[be24(p[1:])] == ""
	const counters = "Counters kept with the codes: how often, and when first and last."
	const waiting = "Codes that wait to be confirmed."
	const readiness = "Results of its self-tests: their readiness begins again at nothing."
	const distance = "Distance and time since the last clear."
	switch {
	case w.functional:
		return []string{"The codes in every module that takes it, the airbag and brake modules too, and the snapshots and counters kept with them.",
			"Codes that wait to be confirmed, in all of them.", "Results of the car's own tests: readiness begins again at nothing. An inspection may fail until they have run.", distance}
	case one:
		return []string{"The code " + codeName(p[1:4]) + " in that module, and the snapshots and counters kept with it.", "The result of its test, until that has run again."}
	case w.module != nil && w.module.Codes == 0:
		return []string{"No codes were stored in that module. Counters and test results kept there are lost.", waiting, readiness, distance}
	case w.module != nil && w.module.Snapshots > 0:
		return []string{fmt.Sprintf("The %s in that module.", count(w.module.Snapshots, "stored snapshot", "stored snapshots")),
			fmt.Sprintf("The notes of %s.", count(w.module.Codes, "code", "codes")), counters, waiting, readiness, distance}
	case w.module != nil && w.module.Codes > 0:
		return []string{fmt.Sprintf("The notes of %s in that module. No snapshots are stored.", count(w.module.Codes, "code", "codes")), counters, waiting, readiness, distance}
	}
	return []string{"The codes in that module, and the snapshots kept with them.", counters, waiting, readiness, distance}
}

// sourcesOf joins the sources of the fields: the service first, the identifiers last.
func sourcesOf(fields []Field) string {
	var out []string
	for i := len(fields) - 1; i >= 0; i-- {
		for s := range strings.SplitSeq(fields[i].Source, "; ") {
			if !slices.Contains(out, s) {
				out = append(out, s)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b string) int { return sourceRank(a) - sourceRank(b) })
	if slices.ContainsFunc(out, func(s string) bool { return strings.HasPrefix(s, srcFrame+",") }) {
		out = slices.DeleteFunc(out, func(s string) bool { return s == srcFrame })
	}
	if len(out) == 0 {
		return ""
	}
	return strings.Join(out, "; ") + "."
}

func sourceRank(s string) int {
	switch {
	case s == srcIDs:
		return 2
	case strings.HasPrefix(s, srcFrame):
		return 1
	}
	return 0
}

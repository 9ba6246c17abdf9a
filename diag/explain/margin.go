package explain

import (
	"fmt"
	"slices"
	"strings"
)

// margin fills what is lost, what can't be done, how sure this is and what it rests on.
func margin(e *Explanation, w who, t transport) {
	e.Source = sourcesOf(e.Fields)
	if e.Direction != Request || t.kind != single {
		e.Sure = "Only the form of the frame is known."
		if e.Direction == Answer && t.kind == single {
			e.Sure = "The form of the answer is set by the standard. Numbers of the maker's own stay as they are."
		}
		return
	}
	f := readForm(t.payload)
	switch {
	case !f.complete:
		e.Sure = "This can't be read completely, so nobody can say what a module makes of it."
		return
	case e.Class == Look:
		e.Cannot = []string{"It changes nothing in the car."}
	case f.service.id == 0x14 || f.service.id == 0x04:
		e.Lost = lost(w, t.payload)
		e.Cannot = []string{"It repairs nothing.", "It changes no settings and no software."}
	case f.service.id == 0x10:
		e.Cannot = []string{"It repairs nothing.", "It erases no codes."}
	}
	e.Sure = "The form of the request is set by the standard, so this is known for every module that follows it."
	if own(t.payload, f) {
		e.Sure = "The form of the request is set by the standard. The numbers in it are the maker's own, so their meaning is not known here."
	}
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
	case 0x21, 0x23, 0x2A, 0x2C, 0x2E, 0x2F, 0x31, 0x30, 0x32, 0x33, 0x3B, 0x3D, 0x27, 0x29, 0x84:
		return true
	}
	return false
}

func lost(w who, p []byte) []string {
	one := p[0] == 0x14 && len(p) > 3 && groups[be24(p[1:])] == ""
	switch {
	case w.functional:
		return []string{"The codes in every module that takes it, the airbag and brake modules too, and the snapshots and counters kept with them.",
			"Results of the car's own tests, and distance and time since the last clear."}
	case one:
		return []string{"The code " + codeName(p[1:4]) + " in that module, and the snapshots and counters kept with it."}
	case w.module != nil && w.module.Codes == 0:
		return []string{"No codes were stored in that module. Counters and test results kept there are lost."}
	case w.module != nil && w.module.Snapshots > 0:
		return []string{fmt.Sprintf("The %s in that module.", count(w.module.Snapshots, "stored snapshot", "stored snapshots")),
			"Counters and test results kept with its codes."}
	case w.module != nil && w.module.Codes > 0:
		return []string{fmt.Sprintf("The notes of %s in that module, with their counters and test results. No snapshots are stored.", count(w.module.Codes, "code", "codes"))}
	}
	return []string{"The codes in that module, and the snapshots and counters kept with them."}
}

// sourcesOf joins the sources of the fields: the service first, the identifiers last.
func sourcesOf(fields []Field) string {
	var out []string
	for i := len(fields) - 1; i >= 0; i-- {
		if s := fields[i].Source; !slices.Contains(out, s) {
			out = append(out, s)
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

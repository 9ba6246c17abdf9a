package explain

import (
	"encoding/json"
	"strconv"
	"strings"
	"testing"

	"readback/diag/uds"
	"readback/testdata"
)

// The names of ISO 14229-1:2020, from an open library (see testdata).
func referenceNames(t *testing.T) map[string]map[string]string {
	t.Helper()
	var all map[string]json.RawMessage
	if err := json.Unmarshal(testdata.ExplainNames, &all); err != nil {
		t.Fatal(err)
	}
	out := map[string]map[string]string{}
	for k, raw := range all {
		var m map[string]string
		if json.Unmarshal(raw, &m) == nil {
			out[k] = m
		}
	}
	return out
}

func number(t *testing.T, s string) int {
	t.Helper()
	v, err := strconv.ParseUint(s, 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	return int(v)
}

func TestServiceNames(t *testing.T) {
	names := referenceNames(t)
	met := 0
	for id, want := range names["request_sid"] {
		s := serviceOf(byte(number(t, id)))
		if s == nil || s.term != want || s.family != ofUDS {
			t.Errorf("service %s: %+v, want %s", id, s, want)
		}
		met++
	}
	for id, want := range names["response_sid"] {
		if id == "7F" {
			continue
		}
		v := byte(number(t, id))
		if s := serviceOf(v &^ 0x40); s == nil || s.term != want || !isAnswer(v) {
			t.Errorf("answer %s: %+v, want %s", id, s, want)
		}
	}
	for _, s := range services {
		if s.family == ofUDS {
			met--
		}
		if s.verb == "" || isAnswer(s.id) || len(layouts[s.id]) == 0 {
			t.Errorf("service %02X: %+v", s.id, s)
		}
	}
	if met != 0 {
		t.Errorf("%d services differ in number", met)
	}
}

// The names are those of package uds, whose tests compare them with three tables; here every code has words.
func TestRefusalsHaveWords(t *testing.T) {
	want := referenceNames(t)["nrc"]
	for code, name := range want {
		c := byte(number(t, code))
		if !uds.NRC(c).Known() {
			t.Errorf("%s (%s) has no name", code, name)
		}
		for _, s := range services {
			for _, older := range []bool{false, true} {
				text := refusalText(s.id, c, older)
				if c == understood && text != "understood, needs a moment (78)" {
					t.Errorf("78: %q", text)
				}
				if c != understood && (!strings.HasPrefix(text, "refused: ") || !strings.HasSuffix(text, ".") || strings.Contains(text, "..")) {
					t.Errorf("%02X %s: %q", s.id, code, text)
				}
			}
		}
	}
	for c := range 256 {
		if refusalText(0x14, byte(c), false) == "" {
			t.Errorf("nothing to say about %02X", c)
		}
	}
	for _, a := range advices {
		if !uds.NRC(a.code).Known() || a.text == "" || a.text == uds.NRC(a.code).Advice() {
			t.Errorf("% X %02X: %q", a.services, a.code, a.text)
		}
		for _, s := range []byte(a.services) {
			if serviceOf(s) == nil {
				t.Errorf("no service %02X is there to be refused", s)
			}
		}
	}
}

func TestSubFunctions(t *testing.T) {
	names := referenceNames(t)
	for table, id := range map[string]byte{"REPORT_TYPE_MAPPING_2013": 0x19, "REPORT_TYPE_MAPPING_2020": 0x19,
		"DIAGNOSTIC_SESSION_TYPE_MAPPING": 0x10, "RESET_TYPE_MAPPING": 0x11, "CONTROL_TYPE_MAPPING": 0x28,
		"DTC_SETTING_TYPE_MAPPING": 0x85, "ROUTINE_CONTROL_TYPE_MAPPING": 0x31,
		"AUTHENTICATION_TASK_MAPPING": 0x29, "LINK_CONTROL_TYPE_MAPPING": 0x87, "TIMING_PARAMETER_ACCESS_TYPE_MAPPING_2013": 0x83, "DEFINITION_TYPE_MAPPING": 0x2C, "ZERO_SUB_FUNCTION_MAPPING": 0x3E} {
		if len(names[table]) == 0 {
			t.Errorf("no table %s", table)
		}
		for sub, name := range names[table] {
			found := false
			for _, l := range layouts[id] {
				found = found || l.sub == number(t, sub)
			}
			if !found {
				t.Errorf("%02X %s (%s) has no layout", id, sub, name)
			}
		}
		for _, l := range layouts[id] {
			if l.sub == anySub {
				continue
			}
			key := strings.ToUpper(strconv.FormatUint(uint64(l.sub)+0x100, 16)[1:])
			if id == 0x19 {
				continue // checked below against both editions
			}
			if _, ok := names[table][key]; !ok {
				t.Errorf("%02X %s is no sub-function of the standard", id, key)
			}
		}
	}
	for _, l := range reports {
		key := strings.ToUpper(strconv.FormatUint(uint64(l.sub)+0x100, 16)[1:])
		_, old := names["REPORT_TYPE_MAPPING_2013"][key]
		if _, ok := names["REPORT_TYPE_MAPPING_2020"][key]; !ok && !old {
			t.Errorf("19 %s is no report type", key)
		}
	}
	// controlType 00 is the one that lets a module send and receive again; a slip here would silence it.
	if got := names["CONTROL_TYPE_MAPPING"]["00"]; got != "enableRxAndTx" {
		t.Errorf("28 00 is %s", got)
	}
	for sub := byte(0); sub <= 5; sub++ {
		want := Never
		if names["CONTROL_TYPE_MAPPING"]["0"+string('0'+rune(sub))] == "enableRxAndTx" {
			want = Change
		}
		if got, _ := rated(0x28, int(sub)); got != want {
			t.Errorf("28 %02X is %s, want %s", sub, got, want)
		}
	}
}

func TestIdentifierNames(t *testing.T) {
	want := referenceNames(t)["DID_MAPPING_2020"]
	for id, name := range want {
		if didName(uint16(number(t, id))) == "" {
			t.Errorf("%s (%s) has no name", id, name)
		}
	}
	for id := range otherNames {
		if _, ok := want[strings.ToUpper(strconv.FormatUint(uint64(id), 16))]; !ok {
			t.Errorf("%04X is not in the standard's list", id)
		}
	}
	for v := 0; v < 0x10000; v++ {
		id := uint16(v)
		plate := v >= 0xF180 && v <= 0xF19F
		if listed(id) != (plate || v>>8 == 0xF4 || v>>8 == 0xF6 || v>>8 == 0xF8) {
			t.Errorf("%04X: listed %v", id, listed(id))
		}
	}
}

func TestGroupNames(t *testing.T) {
	for g := range referenceNames(t)["GROUP_OF_DTC_MAPPING"] {
		if groups[uint32(number(t, g))] == "" {
			t.Errorf("the group %s has no name", g)
		}
	}
}

// otherTerms are the names of ISO 14230-3 and ISO 14229-1 that scapy shortens.
var otherTerms = map[string]string{
	"kwp 22": "readDataByCommonIdentifier", "kwp 2E": "writeDataByCommonIdentifier", "uds 2A": "ReadDataByPeriodicIdentifier",
}

// Names and numbers of the services against scapy, of all three standards.
func TestServicesOfAnotherLibrary(t *testing.T) {
	met := map[string]int{}
	for _, line := range strings.Split(strings.TrimSpace(testdata.ExplainServices), "\n") {
		f := strings.Split(line, "\t")
		if strings.HasPrefix(line, "#") {
			continue
		}
		met[f[0]]++
		id := byte(number(t, f[1]))
		s, want := serviceOf(id), f[2]
		if f[0] == "kwp" {
			s = olderServiceOf(id)
		}
		if other := otherTerms[f[0]+" "+f[1]]; other != "" {
			want = other
		}
		switch {
		case s == nil || s.family != map[string]family{"uds": ofUDS, "obd": ofOBD, "kwp": ofKWP}[f[0]]:
			t.Errorf("%s: %+v", line, s)
		case f[0] != "obd" && !strings.EqualFold(s.term, want):
			t.Errorf("%s: our term is %s", line, s.term)
		}
	}
	if met["uds"] != 27 || met["obd"] != 10 || met["kwp"] != 27 {
		t.Errorf("%v", met)
	}
	for _, s := range olderServices {
		if len(olderLayouts[s.id]) == 0 || s.family != ofKWP || s.sub || serviceOf(s.id) == nil {
			t.Errorf("%+v", s)
		}
	}
}

// The numbered values of ISO 14229-1 that are said in words (py-uds): each has words, and no other has.
func TestNumberedValuesHaveWords(t *testing.T) {
	names := referenceNames(t)
	for _, c := range []struct {
		table string
		text  func(b []byte) string
		none  string // words of a value that the standard does not have
	}{
		{"EVENT_WINDOW_TIME_MAPPING_2020", windowText, "maker's own"},
		{"TRANSMISSION_MODE_MAPPING", pace, "no meaning"},
		{"MODE_OF_OPERATION_MAPPING_2020", fileDeed, "no meaning"},
		{"LINK_CONTROL_MODE_IDENTIFIER_MAPPING", lineText, "Speed number"},
		{"INPUT_OUTPUT_CONTROL_PARAMETER_MAPPING", ioText, "Bytes"},
		{"DTC_FUNCTIONAL_GROUP_IDENTIFIER_MAPPING", area.text, "The area number"},
		{"DTC_FORMAT_IDENTIFIER_MAPPING", func(b []byte) string { return "!" + formatText(b[0]) }, "!format"},
	} {
		if len(names[c.table]) == 0 {
			t.Errorf("no table %s", c.table)
		}
		for v := range 256 {
			name, known := names[c.table][strings.ToUpper(strconv.FormatInt(int64(v)+0x100, 16)[1:])]
			text := c.text([]byte{byte(v)})
			if known == strings.Contains(text, c.none) || text == "" {
				t.Errorf("%s %02X (%s): %q", c.table, v, name, text)
			}
			if digits := strings.Trim(name, "PCANBaud"); c.table == "LINK_CONTROL_MODE_IDENTIFIER_MAPPING" && v < 0x20 && !strings.Contains(text, digits) {
				t.Errorf("speed %02X is %s: %q", v, name, text)
			}
		}
	}
	for id, name := range names["RID_MAPPING"] {
		if jobs[uint16(number(t, id))] == "" {
			t.Errorf("the job %s (%s) has no name", id, name)
		}
	}
	for level := range 128 {
		p := []byte{0x27, byte(level)}
		name := names["SECURITY_ACCESS_TYPE_MAPPING"][strings.ToUpper(strconv.FormatInt(int64(level)+0x100, 16)[1:])]
		if asksSeed(p) != strings.HasPrefix(name, "Request Seed") || bringsKey(p) != strings.HasPrefix(name, "Send Key") {
			t.Errorf("27 %02X is %q", level, name)
		}
	}
	for id, name := range names["EVENT_MAPPING_2020"] {
		if verbOf(0x86, byte(number(t, id))) == "" || verbOf(0x86, byte(number(t, id))|0x40) == "" {
			t.Errorf("86 %s (%s) has no words", id, name)
		}
	}
}

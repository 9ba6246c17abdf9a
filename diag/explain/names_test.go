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

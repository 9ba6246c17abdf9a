package simcar

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
)

func TestEmbeddedScenarios(t *testing.T) {
	names := Names()
	if names[0] != "courier" || !slices.Contains(names, "moving") || !slices.Contains(names, "low-supply") || !slices.Contains(names, "ready") || !slices.Contains(names, "quiet") {
		t.Errorf("names %v", names)
	}
	for _, name := range append(names, "") {
		s, err := Load(name)
		if err != nil {
			t.Error(err)
			continue
		}
		vin, car, modules := "0TNCE23E3P0004217", "Tarn Courier E", 11
		switch {
		case name == "twenty", name == "crowded":
			modules = 20
		case strings.HasPrefix(name, "thirteen"):
			modules = 13
		case strings.HasPrefix(name, "runner"):
			vin, car, modules = "0TNRN21S6M0001873", "Tarn Runner", 3
		case name == "pony":
			vin, car, modules = "0TNPN99S4X0000622", "Tarn Pony", 2
		case name == "drover":
			vin, car, modules = "0TNDR03DX30001944", "Tarn Drover", 4
		}
		if s.VIN != vin || s.Name != car || len(s.Modules) != modules {
			t.Errorf("%s: %s, %s, %d modules", name, s.Name, s.VIN, len(s.Modules))
		}
	}
}

// A file that is no scenario is not read into memory whatever its size.
func TestLongScenario(t *testing.T) {
	path := filepath.Join(t.TempDir(), "long.json")
	for size, long := range map[int]bool{MaxFileSize: false, MaxFileSize + 1: true} {
		if err := os.WriteFile(path, []byte(strings.Repeat(" ", size)), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := LoadFile(path)
		if err == nil || strings.Contains(err.Error(), "more than") != long {
			t.Errorf("%d bytes: %v", size, err)
		}
	}
}

func TestDifferences(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		equal(t, "speed", asked(load(t, "moving"), "drive", "01 0D"), "41 0D 17")    // 23 km/h
		equal(t, "motor", asked(load(t, "moving"), "drive", "01 0C"), "41 0C 1E 30") // 1932 1/min
		equal(t, "clear while moving", asked(load(t, "moving"), "drive", "14 FF FF FF"), "7F 14 88")
		equal(t, "supply", asked(load(t, "low-supply"), "drive", "01 42"), "41 42 2E 18") // 11.8 V
		equal(t, "run time", asked(load(t, ""), "drive", "01 1F"), "41 1F 00 00")
		equal(t, "run time", asked(load(t, "ready"), "drive", "01 1F"), "41 1F 00 28")
		quiet := load(t, "quiet")
		for _, m := range quiet.modules {
			want := "5902" + asked(quiet, m.name, "19 02 FF")
			if m.name == "climate" || m.name == "telematics" {
				equal(t, m.name, want, "5902")
			} else if len(want) != 10 {
				t.Errorf("%s: %s", m.name, want)
			}
		}
		equal(t, "no freeze frame", asked(quiet, "drive", "02 02 00"), "42 02 00 00 00")
	})
}

func TestScenarioErrors(t *testing.T) {
	for _, c := range []struct{ change, field, text string }{
		{`{"version":2}`, "version", "version 1"},
		{`{"vin":"SHORT"}`, "vin", "17"},
		{`{"speed":20}`, "speed", "ready"},
		{`{"colour":"red"}`, "", "colour"},
		{`{"supply":"much"}`, "supply", "string"},
		{`{"modules":{"m":{"mask":"FFF"}}}`, "", "one byte"},
		{`{"modules":{"m":{"answer":"7E0"}}}`, "modules.m.answer", "used"},
		{`{"modules":{"m":{"delay":60}}}`, "modules.m.delay", "50 ms"},
		{`{"modules":{"m":{"room":4}}}`, "modules.m.room", "8"},
		{`{"modules":{"m":{"live":["F191"]}}}`, "modules.m.live[0]", "F191"},
		{`{"modules":{"m":{"texts":{"F1":"x"}}}}`, "modules.m.texts.F1", "identifier"},
		{`{"modules":{"m":{"codes":{"X0143-00":{}}}}}`, "modules.m.codes.X0143-00", "code"},
		{`{"modules":{"m":{"codes":{"P4143-00":{}}}}}`, "modules.m.codes.P4143-00", "code"},
		{`{"modules":{"m":{"codes":{"P0143":{}}}}}`, "modules.m.codes.P0143", "code"},
		{`{"modules":{"m":{"codes":{"P0143-00":{"status":"42"}}}}}`, "modules.m.codes.P0143-00.status", "42"},
		{`{"modules":{"m":{"codes":{"P0143-00":{"status":"58"}}}}}`, "modules.m.codes.P0143-00.status", "58"},
		{`{"modules":{"m":{"codes":{"P0143-00":{"every":1}}}}}`, "modules.m.codes.P0143-00.every", "10 ms"},
		{`{"modules":{"m":{"codes":{"P0143-00":{"needs":"rain"}}}}}`, "modules.m.codes.P0143-00.needs", "rain"},
		{`{"modules":{"m":{"codes":{"P0143-00":{"snapshots":[{"record":3}]}}}}}`, "modules.m.codes.P0143-00.snapshots[0].record", "3"},
		{`{"modules":{"m":{"obd":{"check":"00","readiness":"000000"}}}}`, "modules.m.obd.check", "4"},
		{`{"modules":{"m":{"obd":{"check":"00000000","readiness":"000000","live":["06"]}}}}`, "modules.m.obd.live[0]", "06"},
		{`{"modules":{"m":{"obd":{"check":"00000000","readiness":"000000","parameters":{"20":"00"}}}}}`, "modules.m.obd.parameters.20", "parameter"},
		{`{"traffic":[{"id":"120","every":0}]}`, "traffic[0].every", "0"},
		{`{"traffic":[{"id":"7E8","every":10}]}`, "traffic[0].id", "used"},
		{`{"traffic":[{"id":"120","every":10,"data":"00","speed":0}]}`, "traffic[0].data", "short"},
	} {
		_, err := scenarioOf(c.change)
		var se *ScenarioError
		if !errors.As(err, &se) || se.File != "test" || se.Field != c.field || !strings.Contains(err.Error(), c.text) {
			t.Errorf("%s: error %v", c.change, err)
		}
	}
}

func TestScenarioFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	s, err := LoadFile(write("mine.json", `{"base":"low-supply","outside":-12}`))
	if err != nil || s.Supply != 11.8 || s.Outside != -12 || s.Odometer != 41206 {
		t.Errorf("%+v, %v", s, err)
	}
	for name, text := range map[string]string{
		"torn.json":   `{"version":1,`,
		"list.json":   `[1]`,
		"base.json":   `{"base":"nobody"}`,
		"number.json": `{"base":7}`,
		"empty.json":  ``,
		"null.json":   `null`,
	} {
		path := write(name, text)
		_, err := LoadFile(path)
		var se *ScenarioError
		if !errors.As(err, &se) || se.File != path {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := LoadFile(filepath.Join(dir, "nowhere.json")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("error %v", err)
	}
	if _, err := Load("nobody"); !errors.Is(err, ErrUnknownScenario) || !strings.Contains(err.Error(), "courier") {
		t.Errorf("error %v", err)
	}
}

// The examples of RFC 7396 appendix A that concern objects.
func TestMergePatch(t *testing.T) {
	for _, c := range []struct{ target, change, want string }{
		{`{"a":"b"}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"b"}`, `{"b":"c"}`, `{"a":"b","b":"c"}`},
		{`{"a":"b"}`, `{"a":null}`, `{}`},
		{`{"a":"b","b":"c"}`, `{"a":null}`, `{"b":"c"}`},
		{`{"a":["b"]}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"c"}`, `{"a":["b"]}`, `{"a":["b"]}`},
		{`{"a":{"b":"c"}}`, `{"a":{"b":"d","c":null}}`, `{"a":{"b":"d"}}`},
		{`{"a":[{"b":"c"}]}`, `{"a":[1]}`, `{"a":[1]}`},
		{`{"a":"foo"}`, `{"a":{"bar":{"baz":null}}}`, `{"a":{"bar":{}}}`},
		{`{}`, `{"a":{"bb":{"ccc":null}}}`, `{"a":{"bb":{}}}`},
	} {
		target, _ := merged([]byte(c.target), nil)
		change, _ := merged([]byte(c.change), nil)
		want, _ := merged([]byte(c.want), nil)
		if got := patch(target, change); !equalJSON(got, want) {
			t.Errorf("%s + %s = %v, want %s", c.target, c.change, got, c.want)
		}
	}
}

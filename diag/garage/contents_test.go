package garage

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestInspect: what a file says of itself before it is taken is what went into it.
func TestInspect(t *testing.T) {
	s, car := used(t)
	list, err := s.Visits(t.Context(), car.ID)
	if err != nil {
		t.Fatal(err)
	}
	recordings, err := s.Recordings(t.Context(), car.ID)
	if err != nil {
		t.Fatal(err)
	}
	inspect := func(b []byte) (Contents, error) {
		return Inspect(t.Context(), bytes.NewReader(b), int64(len(b)))
	}
	all := backUp(t, s)
	got, err := inspect(all)
	if err != nil || !got.Whole || got.Recordings < 1 || time.Since(got.Made) > time.Hour {
		t.Errorf("a back-up: %+v, %v", got, err)
	}
	one := exportCar(t, s, car.ID)
	got, err = inspect(one)
	if err != nil || got.Whole || got.Car != car.Name || got.VIN != car.VIN || got.Visits != len(list) || got.Recordings != len(recordings) {
		t.Errorf("a car's file: %+v, %v; want %q %q, %d visits, %d recordings", got, err, car.Name, car.VIN, len(list), len(recordings))
	}
	for _, c := range []struct {
		name string
		file []byte
		want Fault
	}{
		{"a picture", []byte("\x89PNG\r\n\x1a\n and so on"), FaultForeign},
		{"another archive", plainZip(t, "letter.txt", "hello"), FaultForeign},
		{"half a back-up", all[:len(all)/2], FaultDamaged},
		{"half a car", one[:len(one)/2], FaultDamaged},
		{"a car whose rows are none", pack(t, carFormat, nil, map[string]string{rowsName: `{"car":{"columns":["id"],"rows":[[1,2]]}}`}), FaultDamaged},
		{"a car whose rows are torn", pack(t, carFormat, nil, map[string]string{rowsName: `{"car":{`}), FaultDamaged},
		{"a newer car", pack(t, carFormat, func(m *manifest) { m.Version = bundleVersion + 1 }, map[string]string{rowsName: "{}"}), FaultNewer},
	} {
		got, err := inspect(c.file)
		var file *FileError
		if !errors.As(err, &file) || file.Fault != c.want || got != (Contents{}) {
			t.Errorf("%s: %+v, %v; want a fault %q", c.name, got, err, c.want)
		}
	}
	damaged := slices.Clone(one)
	at := strings.Index(string(damaged), rowsName) + len(rowsName) + 20
	damaged[at] ^= 0x55
	if got, err := inspect(damaged); err == nil {
		t.Errorf("with a damaged byte: %+v", got)
	}
}

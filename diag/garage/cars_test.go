package garage

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"readback/diag/link"
)

func TestCarRoundTrip(t *testing.T) {
	s := fresh(t)
	c := putCar(t, s, Car{Name: " Van ", VIN: number, Model: "Tarn Courier E", Place: "can:can0", Odometer: "48213 km, typed", Made: begun})
	if c.ID == 0 || c.Name != "Van" {
		t.Fatalf("put %+v", c)
	}
	got, err := s.Car(t.Context(), c.ID)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(c, got); d != "" {
		t.Error(d)
	}
	c.Model, c.Odometer = "Tarn Courier E, 2023", "48300 km, read"
	putCar(t, s, c)
	all, err := s.Cars(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]Car{c}, all); d != "" {
		t.Error(d)
	}
	if _, err := s.Car(t.Context(), c.ID+1); !errors.Is(err, ErrNotFound) {
		t.Errorf("a car that is not there: %v", err)
	}
	if _, err := s.PutCar(t.Context(), Car{ID: c.ID + 1}); !errors.Is(err, ErrNotFound) {
		t.Errorf("changing a car that is not there: %v", err)
	}
	c.Practice = true
	if _, err := s.PutCar(t.Context(), c); !errors.Is(err, ErrMixed) {
		t.Errorf("a real car became a practice car: %v", err)
	}
}

func TestFindCar(t *testing.T) {
	s := fresh(t)
	van := putCar(t, s, Car{Name: "Van", VIN: number})
	nameless := putCar(t, s, Car{Name: "Old one"})
	practice := putCar(t, s, Car{Name: "Van", VIN: number, Practice: true})
	wild := putCar(t, s, Car{Name: "100% '; DROP TABLE car; --"})
	for _, c := range []struct {
		what, vin, name string
		practice        bool
		want            int64
	}{
		{"by number", number, "", false, van.ID},
		{"by number in small letters", " 0tnce23e3p0004217 ", "", false, van.ID},
		{"the number counts more than the name", number, "Old one", false, van.ID},
		{"by name", "", "van", false, van.ID},
		{"a car without a number, by its name", "0TNCE23E1P0004218", "Old one", false, nameless.ID},
		{"same name, other number", "0TNCE23E1P0004218", "Van", false, 0},
		{"practice", number, "", true, practice.ID},
		{"practice by name", "", "Van", true, practice.ID},
		{"no practice car of that name", "", "Old one", true, 0},
		{"nothing to go by", "", "", false, 0},
		{"signs of SQL in a name", "", wild.Name, false, wild.ID},
		{"wild cards are letters", "", "V%", false, 0},
	} {
		got, ok, err := s.FindCar(t.Context(), c.vin, c.name, c.practice)
		if err != nil || got.ID != c.want || ok != (c.want != 0) {
			t.Errorf("%s: car %d, %v, %v; want %d", c.what, got.ID, ok, err, c.want)
		}
	}
}

func TestNotes(t *testing.T) {
	s := fresh(t)
	car, other := putCar(t, s, Car{Name: "Van"}), putCar(t, s, Car{Name: "Other"})
	var want []Note
	for _, n := range []Note{
		{Code: "P0A08-13", Text: "plug was loose", Who: "owner", Where: "seen", At: begun.UTC()},
		{Code: "U0140", Text: "says the workshop"},
		{Code: "P0A08-13", Text: "again"},
	} {
		got, err := s.PutNote(t.Context(), car.ID, n.Code, n)
		if err != nil {
			t.Fatal(err)
		}
		n.ID = got.ID
		want = append(want, n)
	}
	got, err := s.Notes(t.Context(), car.ID)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if got, err := s.Notes(t.Context(), other.ID); err != nil || len(got) != 0 {
		t.Errorf("another car's notes: %v, %v", got, err)
	}
	if _, err := s.PutNote(t.Context(), 99, "P0A08", Note{}); !errors.Is(err, ErrNotFound) {
		t.Errorf("a note on no car: %v", err)
	}
	if err := s.NameModule(t.Context(), 99, link.Functional11(), "x"); !errors.Is(err, ErrNotFound) {
		t.Errorf("a name for a module of no car: %v", err)
	}
}

package gate

import (
	"math"
	"strings"
	"testing"
	"time"
)

// The bands at each of their limits. Rest voltages: published state-of-charge tables of lead batteries; 12.4 V and 13.2
// to 14.8 V: common workshop practice.
func TestBands(t *testing.T) {
	for _, c := range []struct {
		volts float64
		band  Band
		read  bool
		clear bool // with drive and charging off, without a statement
		can   bool // the owner's statement would close it
	}{
		{math.NaN(), BandNoSense, true, false, false}, {math.Inf(1), BandNoSense, true, false, false}, {-0.01, BandNoSense, true, false, false},
		{0, BandNone, false, false, false}, {0.994, BandNone, false, false, false}, {1, BandFlat, false, false, false}, {11.49, BandFlat, false, false, false}, {11.494, BandFlat, false, false, false},
		{11.5, BandEmpty, true, false, false}, {11.99, BandEmpty, true, false, false},
		{12.0, BandLow, true, false, false}, {12.19, BandLow, true, false, false}, {12.194, BandLow, true, false, false},
		{12.195, BandFair, true, false, true}, {12.2, BandFair, true, false, true}, {12.39, BandFair, true, false, true},
		{12.4, BandGood, true, true, false}, {13.19, BandGood, true, true, false},
		{13.2, BandFed, true, true, false}, {14.79, BandFed, true, true, false},
		{14.8, BandHigh, true, false, false}, {14.81, BandHigh, true, false, false}, {15.0, BandHigh, true, false, false},
		{15.01, BandFault, false, false, false}, {27.6, BandFault, false, false, false},
	} {
		if got := BandOf(c.volts); got != c.band {
			t.Errorf("%v V: %s, want %s", c.volts, got, c.band)
		}
		read, text := c.band.Advice()
		if read != c.read || text == "" && !(c.band == BandFair || c.band == BandGood || c.band == BandFed) {
			t.Errorf("%s: read %v, %q", c.band, read, text)
		}
		_, e := clearing()
		s := ready(t0)
		s.Supply = &Reading{Value: c.volts, At: t0, Source: Measured}
		if l := latchOf(t, Line(e, s, "", t0), SupplyGood); l.InLine != c.clear || l.CanSay != c.can || l.Why == "" {
			t.Errorf("%v V: %+v", c.volts, l)
		}
	}
}

// Falls of more than 0.5 V within 5 minutes, and dips below 11.5 V, each at its limits.
func TestSag(t *testing.T) {
	_, e := clearing()
	at := func(age time.Duration, volts float64) Reading {
		return Reading{Value: volts, At: t0.Add(-age), Source: Measured}
	}
	for _, c := range []struct {
		name     string
		earlier  []Reading
		now      float64
		sags     bool
		contains string
	}{
		{"nothing earlier", nil, 12.7, false, ""},
		{"steady", []Reading{at(4*time.Minute, 12.7), at(time.Minute, 12.7)}, 12.7, false, ""},
		{"0.5 V down", []Reading{at(time.Minute, 13.1)}, 12.6, false, ""},
		{"0.51 V down", []Reading{at(time.Minute, 13.11)}, 12.6, true, "from 13.1 V to 12.6 V within 1 min"},
		{"0.51 V down, 5 minutes ago", []Reading{at(5*time.Minute, 13.11)}, 12.6, true, "within 5 min"},
		{"0.51 V down, more than 5 minutes ago", []Reading{at(5*time.Minute+1, 13.11)}, 12.6, false, ""},
		{"0.6 V up", []Reading{at(time.Minute, 12.4)}, 13.0, false, ""},
		{"down and up again", []Reading{at(3*time.Minute, 12.9), at(2*time.Minute, 12.3)}, 12.9, true, "from 12.9 V to 12.3 V"},
		{"up and down", []Reading{at(3*time.Minute, 12.5), at(2*time.Minute, 13.1)}, 12.5, true, "from 13.1 V to 12.5 V"},
		{"slowly", []Reading{at(4*time.Minute, 12.9), at(3*time.Minute, 12.7), at(2*time.Minute, 12.6)}, 12.39, true, ""},
		{"a dip to 11.5 V", []Reading{at(5*time.Minute+1, 12), at(time.Minute, 11.5)}, 11.9, false, ""},
		{"a dip to 11.49 V", []Reading{at(time.Minute, 11.49)}, 12.7, true, "down at 11.5 V 1 min ago"},
		{"a dip 5 minutes ago", []Reading{at(5*time.Minute, 9)}, 12.7, true, "9.0 V"},
		{"a dip more than 5 minutes ago", []Reading{at(5*time.Minute+1, 9)}, 12.7, false, ""},
		{"a dip that is still to come", []Reading{at(-2*time.Second, 9)}, 12.7, false, ""},
		{"no numbers", []Reading{at(time.Minute, math.NaN()), at(time.Minute, -1), at(time.Minute, math.Inf(1))}, 12.7, false, ""},
	} {
		why := Sag(Remember(c.earlier, at(0, c.now)), t0)
		if (why != "") != c.sags || !strings.Contains(why, c.contains) {
			t.Errorf("%s: %q", c.name, why)
		}
		s := ready(t0)
		supply := at(0, c.now)
		s.Supply, s.Supplies = &supply, c.earlier
		s.Said = map[Key]time.Time{SupplyGood: t0} // a statement does not help against it
		l := latchOf(t, Line(e, s, "", t0), SupplyGood)
		if c.sags && (l.InLine || l.CanSay || l.Why != why) {
			t.Errorf("%s: %+v", c.name, l)
		}
		if wants := BandOf(c.now) == BandGood; !c.sags && l.InLine != wants {
			t.Errorf("%s: %+v", c.name, l)
		}
	}
	// The supply can't be measured any more, but was, and sagged.
	s := ready(t0)
	s.Supply, s.Supplies, s.Said = nil, []Reading{at(time.Minute, 11)}, map[Key]time.Time{SupplyGood: t0}
	if l := latchOf(t, Line(e, s, "", t0), SupplyGood); l.InLine || l.CanSay {
		t.Errorf("said to be good after a dip: %+v", l)
	}
	// Flat and faulty supplies are told as what they are, not as sagging.
	for volts, word := range map[float64]string{11.2: "flat", 15.4: "above 15 V"} {
		supply := at(0, volts)
		s.Supply, s.Supplies = &supply, []Reading{at(time.Minute, 9)}
		if l := latchOf(t, Line(e, s, "", t0), SupplyGood); !strings.Contains(l.Why, word) {
			t.Errorf("%v V: %+v", volts, l)
		}
	}
}

func TestRemember(t *testing.T) {
	var kept []Reading
	for i := range 1000 {
		before := len(kept)
		longer := Remember(kept, Reading{Value: float64(i), At: t0.Add(time.Duration(i) * time.Second)})
		if len(kept) != before {
			t.Fatal("the slice that was given was changed")
		}
		kept = longer
	}
	if len(kept) != 301 || kept[0].Value != 699 || kept[300].Value != 999 {
		t.Errorf("%d readings, from %v to %v", len(kept), kept[0], kept[len(kept)-1])
	}
}

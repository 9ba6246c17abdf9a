package main

import (
	"fmt"
	"strings"
	"time"

	"readback/diag/cable"
	"readback/diag/garage"
)

type cableCmd struct {
	Car      string   `help:"Keep the readings with this car."`
	Readings []string `arg:"" optional:"" placeholder:"KEY=VALUE" help:"What the meter showed: 6-7=0.3 14-2=0.4 6-14=60.4 16-5=12.6V. Without any, the list of what can be measured."`
}

func (c *cableCmd) Run(e *env) error {
	if len(c.Readings) == 0 {
		return e.printSpots()
	}
	var readings []cable.Reading
	var keep []garage.MeterReading
	for _, text := range c.Readings {
		key, value, ok := strings.Cut(text, "=")
		if !ok {
			return usage{fmt.Sprintf("%q is no reading; write KEY=VALUE, as 6-14=60.4", text)}
		}
		spot, err := cable.SpotOf(key)
		if err != nil {
			return usage{strings.TrimPrefix(err.Error(), "cable: ")}
		}
		v, err := cable.Parse(value)
		if err != nil {
			return usage{strings.TrimPrefix(err.Error(), "cable: ")}
		}
		if v.Unit == "" {
			v.Unit = spot.Unit
		}
		readings = append(readings, cable.Reading{Key: spot.Key, Value: v})
		keep = append(keep, garage.MeterReading{Spot: spot.Key, Value: v.String(), At: time.Now()})
	}
	verdicts, err := cable.All(readings)
	if err != nil {
		return usage{strings.TrimPrefix(err.Error(), "cable: ")}
	}
	if c.Car != "" {
		if err := e.keepReadings(c.Car, keep); err != nil {
			return err
		}
	}
	worst := cable.Worst(verdicts)
	if e.json {
		err = e.printJSON(map[string]any{"verdicts": verdicts, "worst": worst, "cautions": cable.Cautions()})
	} else {
		e.printVerdicts(verdicts)
	}
	if err == nil && (worst == cable.Doubt || worst == cable.Stop) {
		return errNo
	}
	return err
}

func (e *env) keepReadings(name string, readings []garage.MeterReading) error {
	s, err := e.store()
	if err != nil {
		return err
	}
	defer s.Close()
	car, err := findCar(e.ctx, s, name)
	if err != nil {
		return err
	}
	return s.PutMeter(e.ctx, car.ID, readings)
}

func (e *env) printVerdicts(verdicts []cable.Verdict) {
	for _, v := range verdicts {
		name := strings.Join(v.With, " and ")
		if len(v.With) == 0 {
			name = v.Key + " = " + v.Value
		}
		fmt.Fprintf(e.out, "%-6s %s\n       %s\n", strings.ToUpper(string(v.Level)), name, v.Text)
		if v.Next != "" {
			fmt.Fprintln(e.out, "       Next:", v.Next)
		}
		fmt.Fprintln(e.out, "       Rests on:", v.Source)
	}
}

// printSpots lists what can be measured, the cautions first.
func (e *env) printSpots() error {
	if e.json {
		type spot struct {
			Key   string      `json:"key"`
			Where cable.Where `json:"where"`
			Unit  cable.Unit  `json:"unit"`
			What  string      `json:"what"`
		}
		list := []spot{}
		for _, s := range cable.Spots() {
			list = append(list, spot{s.Key, s.Where, s.Unit, s.What})
		}
		return e.printJSON(map[string]any{"spots": list, "cautions": cable.Cautions()})
	}
	for _, s := range cable.Cautions() {
		fmt.Fprintln(e.out, "CAUTION:", s)
	}
	fmt.Fprintln(e.out)
	for _, s := range cable.Spots() {
		fmt.Fprintf(e.out, "%-16s %s  %s\n", s.Key, s.Unit, s.What)
	}
	return nil
}

package main

import (
	"context"
	"fmt"

	"readback/diag/garage"
)

func findCar(ctx context.Context, s *garage.Store, name string) (garage.Car, error) {
	cars, err := s.Cars(ctx)
	if err != nil {
		return garage.Car{}, err
	}
	car, ok := findCarIn(cars, name)
	if !ok {
		return car, usage{fmt.Sprintf("no car named %q in the logbook", name)}
	}
	return car, nil
}

type historyCmd struct {
	Car string `arg:"" optional:"" help:"Name or identification number of a car; all cars when left out."`
}

type carHistory struct {
	Car     garage.Car       `json:"car"`
	Visits  []garage.Summary `json:"visits"`
	Journal []garage.Entry   `json:"journal"`
}

func (c *historyCmd) Run(e *env) error {
	s, err := e.store()
	if err != nil {
		return err
	}
	defer s.Close()
	cars, err := s.Cars(e.ctx)
	if err != nil {
		return err
	}
	if c.Car != "" {
		car, err := findCar(e.ctx, s, c.Car)
		if err != nil {
			return err
		}
		cars = []garage.Car{car}
	}
	out := []carHistory{}
	for _, car := range cars {
		h := carHistory{Car: car}
		if h.Visits, err = s.Visits(e.ctx, car.ID); err != nil {
			return err
		}
		if h.Journal, err = s.Journal(e.ctx, car.ID); err != nil {
			return err
		}
		out = append(out, h)
	}
	if e.json {
		return e.printJSON(map[string]any{"cars": out})
	}
	if len(out) == 0 {
		fmt.Fprintln(e.out, "The logbook is empty. Begin with: readback-cli look --adapter practice:")
	}
	for _, h := range out {
		e.printHistory(h)
	}
	return nil
}

func (e *env) printHistory(h carHistory) {
	fmt.Fprintf(e.out, "%s%s  %s\n", practiceMark(h.Car.Practice), h.Car.Name, h.Car.VIN)
	for _, v := range h.Visits {
		state := "complete"
		if !v.Complete {
			state = "incomplete"
		}
		fmt.Fprintf(e.out, "  visit %-4d %s  %-9s  %d modules, %d codes, %d there now, %s\n", v.ID, v.Begun.Local().Format("2006-01-02 15:04"), v.Kind, v.Modules, v.Codes, v.Now, state)
	}
	for _, j := range h.Journal {
		fmt.Fprintf(e.out, "  sent %s  %s  %s: %s\n", j.Begun.Local().Format("2006-01-02 15:04:05"), j.Request, j.Outcome, j.Summary)
		for _, a := range j.Answers {
			fmt.Fprintln(e.out, "      ", a)
		}
	}
}

func practiceMark(p bool) string {
	if p {
		return "PRACTICE  "
	}
	return ""
}

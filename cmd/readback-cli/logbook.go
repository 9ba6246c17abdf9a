package main

import (
	"context"
	"fmt"

	"readback/diag"
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

	Proof      []proofLine        `json:"proof"`  // the readings that follow the newest erase
	Proven     []diag.CodeProof   `json:"proven"` // what those that were taken say
	Returns    []diag.Returns     `json:"returns"`
	Recordings []garage.Recording `json:"recordings"`
	Reports    []garage.Report    `json:"reports"`
}

// proofLine is one step of the proof, with what to do for it.
type proofLine struct {
	garage.ProofStep
	Open bool   `json:"open"`
	Do   string `json:"do"`
}

// gather collects what the logbook holds of a car.
func gather(ctx context.Context, s *garage.Store, car garage.Car) (h carHistory, err error) {
	h = carHistory{Car: car, Proof: []proofLine{}, Proven: []diag.CodeProof{}}
	if h.Visits, err = s.Visits(ctx, car.ID); err != nil {
		return h, err
	}
	if h.Journal, err = s.Journal(ctx, car.ID); err != nil {
		return h, err
	}
	past, err := s.CodeHistory(ctx, car.ID)
	if err != nil {
		return h, err
	}
	h.Returns = diag.FindReturns(past, h.Journal)
	proving, err := diag.NewestProof(ctx, s, past, h.Journal)
	if err != nil {
		return h, err
	}
	for _, p := range proving.Steps {
		h.Proof = append(h.Proof, proofLine{p, p.Open(), diag.GuideOf(p.Step).Do})
	}
	h.Proven = append(h.Proven, proving.Codes...)
	if h.Recordings, err = s.Recordings(ctx, car.ID); err != nil {
		return h, err
	}
	h.Reports, err = s.Reports(ctx, car.ID)
	return h, err
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
		h, err := gather(e.ctx, s, car)
		if err != nil {
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
	e.printFollowing(h)
}

// printFollowing prints what is still to be done after an erase, and which codes came back.
func (e *env) printFollowing(h carHistory) {
	for _, p := range h.Proof {
		state := "done, visit " + fmt.Sprint(p.Visit)
		switch {
		case p.Left:
			state = "left out"
		case p.Open:
			state = "open: " + p.Do
		}
		fmt.Fprintf(e.out, "  proof %-3s due %s  %s\n", p.Step, p.Due.Local().Format("2006-01-02 15:04"), state)
	}
	for _, p := range h.Proven {
		fmt.Fprintf(e.out, "  since the erase  %s %s: %s\n", p.Module, p.Code, p.Text)
	}
	for _, r := range h.Returns {
		if len(r.Seen) > 1 {
			fmt.Fprintf(e.out, "  %s %s: %s\n", r.Module, r.Code, r.Text)
		}
	}
	for _, r := range h.Reports {
		fmt.Fprintf(e.out, "  report of visit %d, %s, %s, SHA-256 %s\n", r.Visit, r.Made.Local().Format("2006-01-02 15:04"), r.Form, r.Digest)
	}
}

func practiceMark(p bool) string {
	if p {
		return "PRACTICE  "
	}
	return ""
}

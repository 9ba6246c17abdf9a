package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"readback/diag"
	"readback/diag/explain"
	"readback/diag/garage"
)

type cardsCmd struct {
	Car    string `arg:"" help:"Name or identification number of the car."`
	Take   string `placeholder:"FILE" help:"Keep the cards of a file with this car."`
	To     string `placeholder:"FILE" help:"Write the cards of this car to a file, to hand them on."`
	Remove int64  `placeholder:"N" help:"Take card N away."`
}

func (c *cardsCmd) Run(e *env) error {
	s, err := e.store()
	if err != nil {
		return err
	}
	defer s.Close()
	car, err := findCar(e.ctx, s, c.Car)
	if err != nil {
		return err
	}
	if c.Take != "" {
		if err := e.takeCards(s, car, c.Take); err != nil {
			return err
		}
	}
	if c.Remove != 0 {
		if err := s.RemoveCard(e.ctx, c.Remove); err != nil {
			return err
		}
	}
	cards, err := s.Cards(e.ctx, car.ID)
	if err != nil {
		return err
	}
	if c.To != "" {
		if err := writeNew(c.To, func(w io.Writer) error { _, err := w.Write(garage.WriteCards(cards)); return err }); err != nil {
			return err
		}
	}
	o := explain.Options{}
	if last, ok, err := s.LastVisit(e.ctx, car.ID); err != nil {
		return err
	} else if ok {
		o.Modules = diag.ExplainModules(last.Modules)
	}
	return e.printCards(cards, o)
}

func (e *env) takeCards(s *garage.Store, car garage.Car, path string) error {
	in, err := os.Open(path)
	if err != nil {
		return usage{err.Error()}
	}
	defer in.Close()
	text, err := io.ReadAll(io.LimitReader(in, garage.MaxCards+1))
	if err != nil {
		return usage{err.Error()}
	}
	cards, err := garage.ReadCards(text)
	if err != nil {
		return err
	}
	for _, card := range cards {
		if _, err := s.PutCard(e.ctx, car.ID, card); err != nil {
			return err
		}
	}
	return nil
}

// printCards explains each card afresh. A card that does not fit makes the answer "no".
func (e *env) printCards(cards []garage.Card, o explain.Options) error {
	type cardDoc struct {
		garage.Card
		Class   explain.Class `json:"class"`
		Summary string        `json:"summary"`
		Trouble string        `json:"trouble"`
	}
	docs := []cardDoc{}
	var answer error
	for _, c := range cards {
		x := diag.CheckCard(c, func(text string, w explain.Wish) explain.Explanation {
			o.Wish = w
			return explain.Explain(text, o)
		})
		docs = append(docs, cardDoc{c, x.Explained.Class, x.Explained.Summary, x.Trouble})
		if x.Trouble != "" {
			answer = errNo
		}
	}
	if e.json {
		if err := e.printJSON(map[string]any{"cards": docs}); err != nil {
			return err
		}
		return answer
	}
	for _, d := range docs {
		fmt.Fprintf(e.out, "card %d  %s\n  %s  [%s]\n  %s\n", d.ID, d.Title, d.Request, d.Class, d.Summary)
		if story := strings.Join(strings.Fields(d.Module+" "+d.Who+" "+d.Where), " "); story != "" {
			fmt.Fprintln(e.out, " ", story)
		}
		if d.Trouble != "" {
			fmt.Fprintln(e.out, "  WRONG", d.Trouble)
		}
	}
	if len(docs) == 0 {
		fmt.Fprintln(e.out, "This car has no cards.")
	}
	return answer
}

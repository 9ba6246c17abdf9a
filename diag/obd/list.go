package obd

import (
	"maps"
	"slices"

	"readback/diag/quantity"
)

// Parameter describes one parameter of service 01 for somebody who chooses among them.
type Parameter struct {
	Number byte
	Name   string  // in plain words
	Values []Value // the numbers that it tells, in the order of its readings; none when it tells only states
}

// Value is one number of a parameter. Which of several values a car tells, the car says with each answer.
type Value struct {
	Label     string // "" where the parameter tells one thing
	Unit      quantity.Unit
	Low, High float64 // the range that the bytes can tell, in Unit
	Digits    int     // after the point
}

// Parameters are all parameters that are described here, by number, without the tables of what is offered (00, 20 ... E0).
// The list is the same for every car; [Client.Supported] tells which of them a car offers.
func Parameters() []Parameter {
	var out []Parameter
	for _, id := range slices.Sorted(maps.Keys(parameters)) {
		if id%0x20 == 0 {
			continue
		}
		p := parameters[id]
		x := Parameter{Number: id, Name: p.name, Values: make([]Value, len(p.numbers))}
		for i, n := range p.numbers {
			low, high := n.span()
			x.Values[i] = Value{n.label, n.unit, low, high, n.digits}
		}
		out = append(out, x)
	}
	return out
}

// Package gate is the only door to the wire.
//
//	client -> [Gate.Send] --- a look, by the gate's own table ------------------------> inner Link
//	owner  -> [Gate.Permit] - a change, with all latches in line -> [Permit] -> [Gate.Pass] -> inner Link
//	                        \ anything else, or a latch that is open -> [Refusal]: nothing was sent
//
// What may pass as a look stands in the tables of this package, which are written apart from those of package explain: a
// mistake in one of them shows as a difference and never as something sent. What is not in them does not pass; nothing
// passes on an identifier that the car itself was heard to use.
//
// A [Permit] is bound to one gate, one address and the exact bytes of one frame. It passes once, whatever comes of it, and
// expires. [Line] makes the latches of a proposal out of a [State]: values that were measured or read, with their age, and
// statements of the owner, which expire.
package gate

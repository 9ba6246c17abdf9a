// Package diag is what a front end calls: one [Visit] to one car.
//
// The way of a request, downwards, and of its answer, upwards:
//
//	       page or command
//	            |  values                    ^  values, iterators
//	         diag.Visit ------------------> diag/garage (record, journal)
//	            |                            |
//	  diag/uds, diag/obd, diag/kwp           |  one file a service: values <-> bytes
//	            |                            |
//	      diag/exchange                      |  of uds and kwp: one request in the air, how long its answer is waited for
//	            |                            |
//	      link.Router                        |  one peer an address
//	            |                            |
//	       gate.Gate                         |  the only door: looks pass by its own table, a change needs a permit
//	       ____/ \____                       |
//	      |           |                      |
//	 paced link   line log                   |  the share of the bus's load; the time that a serial line needs
//	      |           |                      |
//	trace.WrapLink    trace.WrapLink         |  messages: what really went, and when
//	      |           |                      |
//	isotp.Link    ELM-style link             |  ISO 15765-2; an ELM-style adapter does its own waiting
//	      |           |                      |
//	 counted bus      |                      |  bits that a search has sent and caused
//	      |           |                      |
//	  bus meter       |                      |  load, errors, the controller's state
//	      |           |                      |
//	trace.WrapBus     |                      |  frames; an ELM-style adapter tells them by a bus.Tap
//	      |           |                      |
//	   bus.Bus     serial line               |
//	      |___________|______________________|
//	            car, or diag/simcar
//
// The order is fixed in one function, [Visit.wire]. Nothing else in the program builds a client.
//
// A look is: listen, ask all at once, ask one address after another where the car is not known, read each module, save. A
// change is: measure, permit, journal on the disk, send once, keep the answers, read all modules again. A fault that was there
// before is called gone only when two lists are without it.
package diag

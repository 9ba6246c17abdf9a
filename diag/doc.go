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
//	      link.Router                        |  one peer an address
//	            |                            |
//	       gate.Gate                         |  the only door: looks pass by its own table, a change needs a permit
//	            |                            |
//	  trace.WrapLink (messages)              |  what really went, and when
//	       ____/ \____                       |
//	      |           |                      |
//	isotp.Link    ELM-style link             |  ISO 15765-2; an ELM-style adapter does its own waiting
//	      |           |                      |
//	trace.WrapBus     |                      |  frames
//	      |           |                      |
//	   bus.Bus     serial line               |
//	      |___________|______________________|
//	            car, or diag/simcar
//
// The order is fixed in one function, [Visit.wire]. Nothing else in the program builds a client.
package diag

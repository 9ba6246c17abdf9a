// Package simcar is a simulated car: its modules answer diagnostic requests on a frame bus, keep trouble codes that
// their tests set and clear, and send ordinary messages all the while.
//
// It is written from the standards (ISO 15765-2 and -4, ISO 14229-1, SAE J1979, SAE J2012) apart from the program's
// own readers of the same messages, so that a mistake in one of them can't hide in the other. A car is a [Scenario]:
// invented data from a JSON document.
//
// The car lives on time: nothing runs between requests but the clock. Whoever asks or changes something first lets
// the tests run that were due since. It serves a [readback/diag/bus.Bus], and can also stand behind a serial
// ELM-style adapter of its own, whole or faulty, or a serial-line CAN adapter, on any byte stream.
//
// A [Mischief] makes it go wrong on purpose, and keeps the book of what really happened: for tests.
package simcar

// Package elm drives ELM-style serial adapters, on a serial line or over TCP.
//
// Source of the line protocol: ELM327 data sheet, v1.4 to v2.2 (page numbers are those of document DSJ). A command ends
// with a carriage return; the adapter answers with lines and shows ">" when it is ready for the next. Anything sent
// earlier stops what it is doing.
//
// The adapter's own formatting is switched off where it allows that (CAF0), so that a request goes out as the bytes
// that were shown, and [readback/diag/isotp] puts answers together. Three rules keep an act from being repeated:
//
//   - a request line is written once, and nothing in this package writes it again, whatever the adapter says;
//   - work is stopped with a space, never with a lone carriage return, which would repeat the last line (p. 9); the one
//     exception is the change of line speed while the adapter is opened, before any request of an owner;
//   - after "response pending" (7F xx 78) the answer is waited for: first by the adapter, whose waiting time is set as
//     long as it goes (ST FF, 1.02 s) for requests that must go out exactly; then, once it has given up, by monitoring
//     with the same receive filter (AT MA) until P2* of 5 s has run out. A frame that arrives in the few milliseconds
//     between the two is lost, and the request then counts as unanswered.
//
// Flow control that the adapter sends by itself is not shown by it, and the Tap is not told of it.
//
// Cars from before CAN have a bus whose messages begin with header bytes (protocols 1 to 5: SAE J1850, ISO 9141-2, ISO
// 14230). There are no frames there: a request is typed as its payload, header and checksum are put around it by the
// adapter, and the Tap is told nothing. Answers of several lines are handed over whole, see
// [readback/diag/link.AtHeader]. Only what reads goes out, and the two requests that erase codes, 04 and 14 of ISO 14230-3.
// The adapter itself keeps a serial line open with a message every 3 s.
//
// Whatever comes from the line is bounded: lines by their letters, what the adapter says by its lines and by its time, an
// exchange by its time. A device that does not stop talking is left.
//
// What an adapter can do is tried command by command; the version that it tells counts for nothing, since copies tell any.
// Open tries the settings. What only a car can show is watched from the first answers on, and nothing is asked for it:
// whether long answers arrive whole, whether bytes are lost, whether CAF0 was accepted in earnest. [Adapter.Abilities]
// tells it as it is known by then, with a grade in words and the reason where no change should be sent.
//
// The speed of the line is found by trying, and raised with AT BRD where the caller names faster ones: only after the
// adapter's version has arrived whole three times at the new speed. A line that loses bytes there, and an adapter that was
// reset, go back to the first speed; Close leaves it at that. The speed in the adapter's memory (PP 0C) is not touched.
//
// While nothing is said the supply is measured every 5 s, see [Adapter.SupplyReadings].
//
// [LineLimit] tells how fast a row of requests can be at best.
package elm

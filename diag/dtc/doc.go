// Package dtc is what is known of a trouble code without a car: its bytes and its name (SAE J2012, ISO 15031-6), its failure
// type, its status byte (ISO 14229-1 annex D.2), its meaning in plain words, how serious that is, and what is likely behind it.
//
//	bytes <-> [Code] <-> name          [Parse], [From2], [From3]
//	[Code], [Status] -> [Description]   [Describe]
//
// Meanings come from the tables in readback/assets: a code names a part and a way in which it is wrong, and causes and first
// looks belong to kinds of parts, never to a single code. A code that the standard leaves to makers is said to be one, and
// gets no meaning. It is pure.
package dtc

// Package report writes what the logbook holds of one visit, or of a change with the readings before and after it, for
// a workshop or for the owner: as one HTML file without any script, or as a PDF.
//
// Raw bytes are the truth, words are the commentary: both stand side by side. A copy that is to be shared has what
// names the owner or the car taken out, in texts and in raw bytes; [Share] tells what was removed.
//
//	garage values -> [Build] -> [Document] -> [Share] -> [Document] -> [HTML] or [PDF]
package report

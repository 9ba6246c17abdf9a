// Package tongue says in other languages what the engine says. The engine speaks English: its verdicts, latches, steps,
// causes, names and errors come as sentences whose English text is their key here.
//
//	engine -> "There now." -> [Tongue.Tell] -> "Jetzt vorhanden."
//
// A language is the files text/TAG.json and text/TAG-*.json with sentences, and forms/TAG.json with how it writes numbers
// and dates.
package tongue

// Package garage is the store: cars, visits, codes, notes, cards, meter readings, the journal of changes, the readings that
// follow an erase, and the list of recordings and reports, in one SQLite file; recordings lie in a folder beside it.
//
//	visit -> [Store.SaveVisit] -> rows with a checksum -> [Store.Visit], [Store.CodeHistory]
//	change -> [Store.Begin] -> on the disk -> sent -> [Store.Finish]
//	store -> [Store.BackUp] -> one file -> [Restore]        car -> [Store.ExportCar] -> one file -> [Store.ImportCar]
//	damaged store -> [Rescue] -> a new one
//
// What was read is evidence. A saved visit is never changed or removed (triggers see to it, and a checksum over the
// whole visit shows whether somebody did), and a change is in the journal, on the disk, before it leaves.
//
// The file uses SQLite's rollback journal with synchronous=EXTRA: when a commit returns, the rows and the folder's
// entry are on the disk, and the store is one file that can be copied when no program has it open.
package garage

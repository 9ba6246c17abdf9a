// Package garage is the store: cars, visits, codes, notes, and the journal of changes, in one SQLite file.
//
// What was read is evidence. A saved visit is never changed or removed (triggers see to it, and a checksum over the
// whole visit shows whether somebody did), and a change is in the journal, on the disk, before it leaves.
//
// The file uses SQLite's rollback journal with synchronous=EXTRA: when a commit returns, the rows and the folder's
// entry are on the disk, and the store is one file that can be copied when no program has it open.
package garage

-- Version 2: the journal of changes. A row is written and synced before the change leaves.
-- holder is the program that wrote the row, as long as the change is in the air; see lease.go.

CREATE TABLE journal (
	id        INTEGER PRIMARY KEY AUTOINCREMENT,
	car       INTEGER NOT NULL REFERENCES car,
	before    INTEGER REFERENCES visit,
	read_back INTEGER REFERENCES visit,
	place     TEXT NOT NULL,
	request   TEXT NOT NULL,
	summary   TEXT NOT NULL,
	words     TEXT NOT NULL,
	latches   TEXT NOT NULL,
	begun     INTEGER NOT NULL,
	ended     INTEGER,
	outcome   TEXT NOT NULL,
	answers   TEXT NOT NULL,
	seen      INTEGER NOT NULL CHECK (seen IN (0, 1)),
	holder    TEXT NOT NULL
) STRICT;
CREATE INDEX journal_car ON journal (car);
CREATE INDEX journal_open ON journal (outcome) WHERE outcome IN ('planned', 'unknown');

CREATE TRIGGER journal_kept BEFORE UPDATE OF id, car, before, place, request, summary, words, latches, begun ON journal
BEGIN SELECT RAISE(ABORT, 'what was planned is never changed'); END;
CREATE TRIGGER journal_once BEFORE UPDATE OF outcome ON journal WHEN OLD.outcome NOT IN ('planned', 'unknown')
BEGIN SELECT RAISE(ABORT, 'an outcome is written once'); END;
CREATE TRIGGER journal_stays BEFORE DELETE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;

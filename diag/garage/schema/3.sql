-- Version 3: request cards, meter readings, recordings, the steps of proof, and reports.
-- A card is what somebody proposed to send, kept with where it came from.

CREATE TABLE card (
	id      INTEGER PRIMARY KEY AUTOINCREMENT,
	car     INTEGER NOT NULL REFERENCES car,
	title   TEXT NOT NULL,
	module  TEXT NOT NULL,
	request TEXT NOT NULL,
	words   TEXT NOT NULL,
	expect  TEXT NOT NULL,
	who     TEXT NOT NULL,
	source  TEXT NOT NULL,
	at      INTEGER,
	UNIQUE (car, request, title)
) STRICT;

-- What a multimeter showed on the cable, the adapter or the car, and how far an adapter's own voltmeter is off.

CREATE TABLE meter (
	id    INTEGER PRIMARY KEY AUTOINCREMENT,
	car   INTEGER NOT NULL REFERENCES car,
	spot  TEXT NOT NULL,
	value TEXT NOT NULL,
	at    INTEGER
) STRICT;
CREATE INDEX meter_car ON meter (car, spot);

CREATE TABLE meter_offset (
	place TEXT PRIMARY KEY,
	volts REAL NOT NULL,
	at    INTEGER
) STRICT, WITHOUT ROWID;

-- The frames of a visit, in a file beside the store.

CREATE TABLE recording (
	id     INTEGER PRIMARY KEY AUTOINCREMENT,
	car    INTEGER NOT NULL REFERENCES car,
	visit  INTEGER REFERENCES visit,
	entry  INTEGER REFERENCES journal,
	file   TEXT NOT NULL UNIQUE,
	frames INTEGER NOT NULL,
	digest BLOB NOT NULL,
	begun  INTEGER NOT NULL,
	ended  INTEGER
) STRICT;
CREATE INDEX recording_car ON recording (car);

-- The readings that are still to be taken after a change, to tell whether it has lasted.

CREATE TABLE proof (
	id    INTEGER PRIMARY KEY AUTOINCREMENT,
	entry INTEGER NOT NULL REFERENCES journal,
	step  TEXT NOT NULL,
	due   INTEGER NOT NULL,
	visit INTEGER REFERENCES visit,
	done  INTEGER,
	left_out INTEGER NOT NULL CHECK (left_out IN (0, 1)),
	UNIQUE (entry, step)
) STRICT;

-- Reports that were written, each with the digest of the one before it.

CREATE TABLE report (
	id       INTEGER PRIMARY KEY AUTOINCREMENT,
	car      INTEGER NOT NULL REFERENCES car,
	visit    INTEGER NOT NULL REFERENCES visit,
	made     INTEGER NOT NULL,
	form     TEXT NOT NULL,
	shared   INTEGER NOT NULL CHECK (shared IN (0, 1)),
	digest   BLOB NOT NULL,
	previous BLOB
) STRICT;
CREATE INDEX report_car ON report (car);

CREATE TRIGGER recording_kept BEFORE UPDATE ON recording BEGIN SELECT RAISE(ABORT, 'a recording is never changed'); END;
CREATE TRIGGER report_kept    BEFORE UPDATE ON report    BEGIN SELECT RAISE(ABORT, 'a report is never changed'); END;
CREATE TRIGGER report_stays   BEFORE DELETE ON report    BEGIN SELECT RAISE(ABORT, 'the chain of reports is never shortened'); END;

-- A visit that came from another store keeps its checksum, which covers the car's number there: that number, NULL for
-- a visit that was saved here.

ALTER TABLE visit ADD COLUMN sealed INTEGER;

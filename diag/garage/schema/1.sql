-- Version 1: cars, what their owners wrote, and the visits.
-- Times are nanoseconds since 1970 UTC, NULL when not known. Identifiers are in their canonical text, '' when not known.

CREATE TABLE car (
	id       INTEGER PRIMARY KEY AUTOINCREMENT,
	name     TEXT NOT NULL,
	vin      TEXT NOT NULL,
	model    TEXT NOT NULL,
	practice INTEGER NOT NULL CHECK (practice IN (0, 1)),
	place    TEXT NOT NULL,
	odometer TEXT NOT NULL,
	made     INTEGER
) STRICT;
CREATE INDEX car_vin ON car (vin COLLATE NOCASE);

CREATE TABLE note (
	id     INTEGER PRIMARY KEY AUTOINCREMENT,
	car    INTEGER NOT NULL REFERENCES car,
	code   TEXT NOT NULL,
	text   TEXT NOT NULL,
	who    TEXT NOT NULL,
	source TEXT NOT NULL,
	at     INTEGER
) STRICT;
CREATE INDEX note_car ON note (car);

CREATE TABLE given_name (
	car     INTEGER NOT NULL REFERENCES car,
	request TEXT NOT NULL,
	answer  TEXT NOT NULL,
	target  INTEGER NOT NULL,
	source  INTEGER NOT NULL,
	name    TEXT NOT NULL,
	PRIMARY KEY (car, request, answer, target, source)
) STRICT, WITHOUT ROWID;

CREATE TABLE visit (
	id       INTEGER PRIMARY KEY AUTOINCREMENT,
	car      INTEGER NOT NULL REFERENCES car,
	kind     TEXT NOT NULL,
	begun    INTEGER,
	ended    INTEGER,
	complete INTEGER NOT NULL CHECK (complete IN (0, 1)),
	place    TEXT NOT NULL,
	adapter  TEXT NOT NULL,
	practice INTEGER NOT NULL CHECK (practice IN (0, 1)),
	supply   REAL NOT NULL,
	odometer TEXT NOT NULL,
	checksum BLOB NOT NULL
) STRICT;
CREATE INDEX visit_car ON visit (car);

CREATE TABLE module (
	id           INTEGER PRIMARY KEY,
	visit        INTEGER NOT NULL REFERENCES visit,
	place        INTEGER NOT NULL,
	name         TEXT NOT NULL,
	name_source  TEXT NOT NULL,
	mode         INTEGER NOT NULL,
	ask          TEXT NOT NULL,
	reply        TEXT NOT NULL,
	functional   INTEGER NOT NULL CHECK (functional IN (0, 1)),
	target       INTEGER NOT NULL,
	source       INTEGER NOT NULL,
	request      TEXT NOT NULL,
	answer       TEXT NOT NULL,
	protocol     TEXT NOT NULL,
	safety       INTEGER NOT NULL CHECK (safety IN (0, 1)),
	answered     TEXT NOT NULL,
	refusal      TEXT NOT NULL,
	availability INTEGER,
	codes_read   TEXT NOT NULL
) STRICT;
CREATE INDEX module_visit ON module (visit, place);

CREATE TABLE identification (
	module     INTEGER NOT NULL REFERENCES module,
	identifier TEXT NOT NULL,
	value      TEXT NOT NULL,
	PRIMARY KEY (module, identifier)
) STRICT, WITHOUT ROWID;

CREATE TABLE code (
	id       INTEGER PRIMARY KEY,
	module   INTEGER NOT NULL REFERENCES module,
	place    INTEGER NOT NULL,
	code     BLOB NOT NULL,
	raw      BLOB NOT NULL,
	status   INTEGER,
	lists    TEXT NOT NULL,
	severity INTEGER
) STRICT;
CREATE INDEX code_module ON code (module, place);

CREATE TABLE snapshot (
	id     INTEGER PRIMARY KEY,
	code   INTEGER NOT NULL REFERENCES code,
	place  INTEGER NOT NULL,
	record INTEGER NOT NULL,
	raw    BLOB NOT NULL
) STRICT;
CREATE INDEX snapshot_code ON snapshot (code, place);

CREATE TABLE value (
	snapshot   INTEGER NOT NULL REFERENCES snapshot,
	place      INTEGER NOT NULL,
	identifier INTEGER NOT NULL,
	name       TEXT NOT NULL,
	text       TEXT NOT NULL,
	raw        BLOB NOT NULL,
	PRIMARY KEY (snapshot, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE extended (
	code   INTEGER NOT NULL REFERENCES code,
	place  INTEGER NOT NULL,
	record INTEGER NOT NULL,
	name   TEXT NOT NULL,
	text   TEXT NOT NULL,
	raw    BLOB NOT NULL,
	PRIMARY KEY (code, place)
) STRICT, WITHOUT ROWID;

-- A saved visit stays as it was saved.
CREATE TRIGGER visit_kept          BEFORE UPDATE ON visit          BEGIN SELECT RAISE(ABORT, 'a saved visit is never changed'); END;
CREATE TRIGGER module_kept         BEFORE UPDATE ON module         BEGIN SELECT RAISE(ABORT, 'a saved visit is never changed'); END;
CREATE TRIGGER identification_kept BEFORE UPDATE ON identification BEGIN SELECT RAISE(ABORT, 'a saved visit is never changed'); END;
CREATE TRIGGER code_kept           BEFORE UPDATE ON code           BEGIN SELECT RAISE(ABORT, 'a saved visit is never changed'); END;
CREATE TRIGGER snapshot_kept       BEFORE UPDATE ON snapshot       BEGIN SELECT RAISE(ABORT, 'a saved visit is never changed'); END;
CREATE TRIGGER value_kept          BEFORE UPDATE ON value          BEGIN SELECT RAISE(ABORT, 'a saved visit is never changed'); END;
CREATE TRIGGER extended_kept       BEFORE UPDATE ON extended       BEGIN SELECT RAISE(ABORT, 'a saved visit is never changed'); END;
CREATE TRIGGER visit_stays         BEFORE DELETE ON visit          BEGIN SELECT RAISE(ABORT, 'a saved visit is never removed'); END;
CREATE TRIGGER module_stays        BEFORE DELETE ON module         BEGIN SELECT RAISE(ABORT, 'a saved visit is never removed'); END;
CREATE TRIGGER identification_stays BEFORE DELETE ON identification BEGIN SELECT RAISE(ABORT, 'a saved visit is never removed'); END;
CREATE TRIGGER code_stays          BEFORE DELETE ON code           BEGIN SELECT RAISE(ABORT, 'a saved visit is never removed'); END;
CREATE TRIGGER snapshot_stays      BEFORE DELETE ON snapshot       BEGIN SELECT RAISE(ABORT, 'a saved visit is never removed'); END;
CREATE TRIGGER value_stays         BEFORE DELETE ON value          BEGIN SELECT RAISE(ABORT, 'a saved visit is never removed'); END;
CREATE TRIGGER extended_stays      BEFORE DELETE ON extended       BEGIN SELECT RAISE(ABORT, 'a saved visit is never removed'); END;

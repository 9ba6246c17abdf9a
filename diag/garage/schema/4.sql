-- Version 4: what the owner has set up for a car: identifiers of service 22 that somebody has told them, as four hex digits,
-- and how the wires of the cable go, in the words of whoever asks.

CREATE TABLE setup (
	id    INTEGER PRIMARY KEY AUTOINCREMENT,
	car   INTEGER NOT NULL REFERENCES car,
	at    INTEGER,
	kind  TEXT NOT NULL CHECK (kind IN ('identifier', 'wiring')),
	value TEXT NOT NULL,
	UNIQUE (car, kind, value),
	CHECK (kind <> 'identifier' OR value GLOB '[0-9A-F][0-9A-F][0-9A-F][0-9A-F]')
) STRICT;

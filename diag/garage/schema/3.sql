-- Version 3: request cards. A card is what somebody proposed to send, kept with where it came from.

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

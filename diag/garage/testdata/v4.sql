-- A store of schema version 4 as a program of that version left it. Never edited: it shows that old stores can still be read.
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
INSERT INTO "car" VALUES(1,'Van','0TNCE23E3P0004217','Tarn Courier E',0,'can:can0','48213 km, typed',1795599015123456789);
INSERT INTO "car" VALUES(2,'Practice car','','',1,'','',NULL);
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
INSERT INTO "code" VALUES(1,1,0,X'0A0813',X'0A08132F',47,'[]',64);
INSERT INTO "code" VALUES(2,1,1,X'C14087',X'C1408750',80,'[]',NULL);
INSERT INTO "code" VALUES(3,1,2,X'931200',X'93120028',40,'[]',NULL);
INSERT INTO "code" VALUES(4,2,0,X'0133',X'0133',NULL,'["stored","permanent"]',NULL);
INSERT INTO "code" VALUES(5,2,1,X'',X'01',NULL,'[]',NULL);
INSERT INTO "code" VALUES(6,5,0,X'0A0813',X'0A08132F',47,'[]',64);
INSERT INTO "code" VALUES(7,5,1,X'C14087',X'C1408750',80,'[]',NULL);
INSERT INTO "code" VALUES(8,5,2,X'931200',X'93120028',40,'[]',NULL);
INSERT INTO "code" VALUES(9,6,0,X'0133',X'0133',NULL,'["stored","permanent"]',NULL);
INSERT INTO "code" VALUES(10,6,1,X'',X'01',NULL,'[]',NULL);
CREATE TABLE extended (
	code   INTEGER NOT NULL REFERENCES code,
	place  INTEGER NOT NULL,
	record INTEGER NOT NULL,
	name   TEXT NOT NULL,
	text   TEXT NOT NULL,
	raw    BLOB NOT NULL,
	PRIMARY KEY (code, place)
) STRICT, WITHOUT ROWID;
INSERT INTO "extended" VALUES(1,0,2,'Times seen','3',X'03');
INSERT INTO "extended" VALUES(1,1,144,'','',X'00FF');
INSERT INTO "extended" VALUES(6,0,2,'Times seen','3',X'03');
INSERT INTO "extended" VALUES(6,1,144,'','',X'00FF');
CREATE TABLE given_name (
	car     INTEGER NOT NULL REFERENCES car,
	request TEXT NOT NULL,
	answer  TEXT NOT NULL,
	target  INTEGER NOT NULL,
	source  INTEGER NOT NULL,
	name    TEXT NOT NULL,
	PRIMARY KEY (car, request, answer, target, source)
) STRICT, WITHOUT ROWID;
INSERT INTO "given_name" VALUES(1,'7E5','7ED',0,0,'Charge flap');
CREATE TABLE identification (
	module     INTEGER NOT NULL REFERENCES module,
	identifier TEXT NOT NULL,
	value      TEXT NOT NULL,
	PRIMARY KEY (module, identifier)
) STRICT, WITHOUT ROWID;
INSERT INTO "identification" VALUES(1,'F187','');
INSERT INTO "identification" VALUES(1,'F190','0TNCE23E3P0004217');
INSERT INTO "identification" VALUES(1,'F195','01FF');
INSERT INTO "identification" VALUES(5,'F187','');
INSERT INTO "identification" VALUES(5,'F190','0TNCE23E3P0004217');
INSERT INTO "identification" VALUES(5,'F195','01FF');
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
INSERT INTO "journal" VALUES(1,1,1,2,'can:can0','7E5#0414FFFFFF555555','Erase the codes of Charging','amber delta kite','[{"latch":"standing","inLine":true}]',1795599015123456789,1795599016123456789,'accepted','["7ED 54 after 12 ms"]',0,'');
INSERT INTO "journal" VALUES(2,1,2,NULL,'can:can0','7E5#0414FFFFFF555555','Erase the codes of Charging','amber delta kite','[{"latch":"standing","inLine":true}]',1795599015123456789,NULL,'planned','[]',0,'D4E6YK2VKSFMG52D2UILVNP6DS');
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
INSERT INTO "module" VALUES(1,1,0,'Charging','read from the module',0,'7E5','7ED',0,0,0,'7E5','7ED','UDS',0,'yes','',127,'yes');
INSERT INTO "module" VALUES(2,1,1,'Engine','',1,'18DB33F1','',1,0,0,'18DB33F1','18DAF110','OBD',0,'yes','',NULL,'yes');
INSERT INTO "module" VALUES(3,1,2,'','',3,'740','760',0,44,45,'','','',1,'refused','7F 19 11',NULL,'not asked');
INSERT INTO "module" VALUES(4,1,3,'','',0,'7E7','',0,0,0,'','','',0,'silent','',NULL,'not asked');
INSERT INTO "module" VALUES(5,2,0,'Charging','read from the module',0,'7E5','7ED',0,0,0,'7E5','7ED','UDS',0,'yes','',127,'yes');
INSERT INTO "module" VALUES(6,2,1,'Engine','',1,'18DB33F1','',1,0,0,'18DB33F1','18DAF110','OBD',0,'yes','',NULL,'yes');
INSERT INTO "module" VALUES(7,2,2,'','',3,'740','760',0,44,45,'','','',1,'refused','7F 19 11',NULL,'not asked');
INSERT INTO "module" VALUES(8,2,3,'','',0,'7E7','',0,0,0,'','','',0,'silent','',NULL,'not asked');
CREATE TABLE note (
	id     INTEGER PRIMARY KEY AUTOINCREMENT,
	car    INTEGER NOT NULL REFERENCES car,
	code   TEXT NOT NULL,
	text   TEXT NOT NULL,
	who    TEXT NOT NULL,
	source TEXT NOT NULL,
	at     INTEGER
) STRICT;
INSERT INTO "note" VALUES(1,1,'P0A08-13','plug was loose','owner','seen',1795599015123456789);
CREATE TABLE snapshot (
	id     INTEGER PRIMARY KEY,
	code   INTEGER NOT NULL REFERENCES code,
	place  INTEGER NOT NULL,
	record INTEGER NOT NULL,
	raw    BLOB NOT NULL
) STRICT;
INSERT INTO "snapshot" VALUES(1,1,0,1,X'0102F4423138123400');
INSERT INTO "snapshot" VALUES(2,1,1,254,X'FE');
INSERT INTO "snapshot" VALUES(3,6,0,1,X'0102F4423138123400');
INSERT INTO "snapshot" VALUES(4,6,1,254,X'FE');
CREATE TABLE value (
	snapshot   INTEGER NOT NULL REFERENCES snapshot,
	place      INTEGER NOT NULL,
	identifier INTEGER NOT NULL,
	name       TEXT NOT NULL,
	text       TEXT NOT NULL,
	raw        BLOB NOT NULL,
	PRIMARY KEY (snapshot, place)
) STRICT, WITHOUT ROWID;
INSERT INTO "value" VALUES(1,0,62530,'Control module voltage','12.6 V',X'3138');
INSERT INTO "value" VALUES(1,1,4660,'','',X'00');
INSERT INTO "value" VALUES(3,0,62530,'Control module voltage','12.6 V',X'3138');
INSERT INTO "value" VALUES(3,1,4660,'','',X'00');
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
, sealed INTEGER) STRICT;
INSERT INTO "visit" VALUES(1,1,'before',1795599015123456789,1795599019123456789,1,'practice:','practice car',0,12.62,'48213 km, read',X'13D6AF84F1A6BE1A9AB0097D87B9F4B657275E80A861CF0473BE935BCB0679EA',NULL);
INSERT INTO "visit" VALUES(2,1,'before',1795599015123456789,1795599019123456789,1,'practice:','practice car',0,12.62,'48213 km, read',X'13D6AF84F1A6BE1A9AB0097D87B9F4B657275E80A861CF0473BE935BCB0679EA',NULL);
CREATE INDEX car_vin ON car (vin COLLATE NOCASE);
CREATE INDEX note_car ON note (car);
CREATE INDEX visit_car ON visit (car);
CREATE INDEX module_visit ON module (visit, place);
CREATE INDEX code_module ON code (module, place);
CREATE INDEX snapshot_code ON snapshot (code, place);
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
CREATE INDEX journal_car ON journal (car);
CREATE INDEX journal_open ON journal (outcome) WHERE outcome IN ('planned', 'unknown');
CREATE TRIGGER journal_kept BEFORE UPDATE OF id, car, before, place, request, summary, words, latches, begun ON journal
BEGIN SELECT RAISE(ABORT, 'what was planned is never changed'); END;
CREATE TRIGGER journal_once BEFORE UPDATE OF outcome ON journal WHEN OLD.outcome NOT IN ('planned', 'unknown')
BEGIN SELECT RAISE(ABORT, 'an outcome is written once'); END;
CREATE TRIGGER journal_stays BEFORE DELETE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;
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
INSERT INTO card VALUES(1,1,'Forget the codes','Charging','7E5#0414FFFFFF555555','one two three','54','a workshop','the counter',1700000000000000000);
INSERT INTO meter VALUES(1,1,'car:6-14','60.4 Ω',1700000000000000000);
INSERT INTO meter_offset VALUES('can:can0',0.25,1700000000000000000);
INSERT INTO recording VALUES(1,1,2,1,'20231114-221320-00112233.pcapng',12,X'00112233',1700000000000000000,NULL);
INSERT INTO proof VALUES(1,1,'R1',1700000000000000000,2,1700000001000000000,0);
INSERT INTO report VALUES(1,1,2,1700000000000000000,'html',0,X'0011',NULL);
CREATE TABLE setup (
	id    INTEGER PRIMARY KEY AUTOINCREMENT,
	car   INTEGER NOT NULL REFERENCES car,
	at    INTEGER,
	kind  TEXT NOT NULL CHECK (kind IN ('identifier', 'wiring')),
	value TEXT NOT NULL,
	UNIQUE (car, kind, value),
	CHECK (kind <> 'identifier' OR value GLOB '[0-9A-F][0-9A-F][0-9A-F][0-9A-F]')
) STRICT;
INSERT INTO setup VALUES(1,1,1700000000000000000,'identifier','DD01');
INSERT INTO setup VALUES(2,1,1700000000000000000,'wiring','own 5-3 6-7 14-2');
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('car',2);
INSERT INTO "sqlite_sequence" VALUES('note',1);
INSERT INTO "sqlite_sequence" VALUES('visit',2);
INSERT INTO "sqlite_sequence" VALUES('journal',2);
INSERT INTO "sqlite_sequence" VALUES('card',1);
INSERT INTO "sqlite_sequence" VALUES('meter',1);
INSERT INTO "sqlite_sequence" VALUES('recording',1);
INSERT INTO "sqlite_sequence" VALUES('proof',1);
INSERT INTO "sqlite_sequence" VALUES('report',1);
INSERT INTO "sqlite_sequence" VALUES('setup',2);
PRAGMA application_id = 1382302315;
PRAGMA user_version = 4;

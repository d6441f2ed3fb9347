PRAGMA application_id = 1934772551;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE answer (
    id INTEGER PRIMARY KEY,
    trainee TEXT NOT NULL,
    topic TEXT NOT NULL,
    item TEXT NOT NULL,
    "right" INTEGER NOT NULL CHECK ("right" IN (0, 1)),
    answered TEXT NOT NULL
);
INSERT INTO "answer" VALUES(1,'TR','polarity','which-read-closed',1,'2026-03-02T09:30:00Z');
INSERT INTO "answer" VALUES(2,'TR','polarity','which-read-closed',0,'2026-03-02T09:30:00Z');
INSERT INTO "answer" VALUES(3,'TR','polarity','which-read-closed',1,'2026-03-02T09:30:00Z');
CREATE TABLE check_made (
    id INTEGER PRIMARY KEY,
    job_id INTEGER NOT NULL REFERENCES job,
    "check" TEXT NOT NULL,
    result TEXT NOT NULL,
    minutes REAL,
    done TEXT NOT NULL,
    who TEXT NOT NULL
);
INSERT INTO "check_made" VALUES(1,1,'camera-on-emitter','dark',2.5,'2026-03-02T09:30:00Z','AB');
CREATE TABLE fact (
    id INTEGER PRIMARY KEY,
    unit_id INTEGER NOT NULL REFERENCES unit,
    key TEXT NOT NULL,
    value TEXT NOT NULL,
    since TEXT NOT NULL,
    who TEXT NOT NULL,
    UNIQUE (unit_id, key)
);
INSERT INTO "fact" VALUES(1,1,'board-1.lit','"open"','2026-03-02T09:30:00Z','AB');
INSERT INTO "fact" VALUES(2,1,'balls','4','2026-03-02T09:30:00Z','AB');
CREATE TABLE job (
    id INTEGER PRIMARY KEY,
    unit_id INTEGER NOT NULL REFERENCES unit,
    complaint TEXT NOT NULL,
    complaint_ids TEXT NOT NULL,
    place TEXT NOT NULL,
    opened TEXT NOT NULL,
    closed TEXT,
    explanation TEXT NOT NULL,
    who TEXT NOT NULL
);
INSERT INTO "job" VALUES(1,1,'It "hangs", looking for a ball;
since Monday','["hangs"]','harbour bar','2026-03-02T09:30:00Z','2026-03-02T11:30:00Z','resistor''s lead broken at the emitter of position 3','AB');
INSERT INTO "job" VALUES(2,1,'follow-up','[]','harbour bar','2026-04-01T09:30:00Z',NULL,'','CD');
INSERT INTO "job" VALUES(3,2,'tilts by itself','[]','Börse, 1. Stock','2026-04-11T09:30:00Z',NULL,'','');
CREATE TABLE part_order (
    id INTEGER PRIMARY KEY,
    job_id INTEGER REFERENCES job,
    value TEXT NOT NULL,
    package TEXT NOT NULL,
    quantity INTEGER NOT NULL,
    minimum_stock INTEGER,
    van TEXT NOT NULL,
    asked TEXT NOT NULL,
    ordered TEXT,
    reference TEXT NOT NULL,
    received TEXT,
    who TEXT NOT NULL
);
INSERT INTO "part_order" VALUES(1,1,'150 ohm','0207',2,10,'north','2026-03-02T10:30:00Z','2026-03-02T11:30:00Z','A-17',NULL,'AB');
INSERT INTO "part_order" VALUES(2,NULL,'micro-switch','',1,NULL,'','2026-03-02T09:30:00Z',NULL,'',NULL,'');
CREATE TABLE repair (
    id INTEGER PRIMARY KEY,
    job_id INTEGER NOT NULL REFERENCES job,
    part_kind TEXT NOT NULL,
    part TEXT NOT NULL,
    fault TEXT NOT NULL,
    beside_kicker INTEGER NOT NULL CHECK (beside_kicker IN (0, 1)),
    what TEXT NOT NULL,
    lasting INTEGER NOT NULL CHECK (lasting IN (0, 1)),
    due TEXT,
    settled TEXT,
    follows INTEGER REFERENCES repair,
    minutes REAL,
    done TEXT NOT NULL,
    who TEXT NOT NULL,
    proven TEXT NOT NULL CHECK (proven IN ('none', 'readings', 'fed one by one')),
    proven_at TEXT,
    balls_aboard INTEGER,
    CHECK (lasting OR due IS NOT NULL)
);
INSERT INTO "repair" VALUES(1,1,'resistor','trough-3','resistor-lead-broken',1,'lead resoldered to its stub',0,'2026-04-13','2026-04-02T09:30:00Z',NULL,12.0,'2026-03-02T10:30:00Z','AB','readings','2026-03-02T10:30:00Z',5);
INSERT INTO "repair" VALUES(2,2,'resistor','trough-3','',1,'new resistor',1,NULL,NULL,1,20.0,'2026-04-02T09:30:00Z','CD','fed one by one','2026-04-02T09:30:00Z',5);
CREATE TABLE sheet (
    id INTEGER PRIMARY KEY,
    job_id INTEGER NOT NULL REFERENCES job,
    taken TEXT NOT NULL,
    conditions TEXT NOT NULL,
    readings TEXT NOT NULL,
    who TEXT NOT NULL
);
INSERT INTO "sheet" VALUES(1,1,'2026-03-02T09:30:00Z','{"at":{"lock":2},"balls":5,"phase":"idle"}','{"trough-1":"closed","trough-2":"open","trough-3":"flickers"}','AB');
CREATE TABLE training (
    id INTEGER PRIMARY KEY,
    trainee TEXT NOT NULL UNIQUE,
    saved TEXT NOT NULL,
    progress TEXT NOT NULL
);
INSERT INTO "training" VALUES(1,'TR','2026-03-02T09:30:00Z','{"level":2,"seed":4}');
CREATE TABLE unit (
    id INTEGER PRIMARY KEY,
    machine TEXT NOT NULL,
    serial TEXT NOT NULL,
    place TEXT NOT NULL,
    note TEXT NOT NULL,
    UNIQUE (machine, serial)
);
INSERT INTO "unit" VALUES(1,'tidal-clockwork','1001','harbour bar','');
INSERT INTO "unit" VALUES(2,'orchard-signal','2002','Börse, 1. Stock','');
CREATE INDEX job_unit ON job (unit_id);
CREATE INDEX job_opened ON job (opened);
CREATE INDEX sheet_job ON sheet (job_id);
CREATE INDEX check_made_job ON check_made (job_id);
CREATE INDEX repair_job ON repair (job_id);
CREATE INDEX repair_part ON repair (part_kind, part);
CREATE INDEX repair_due ON repair (due) WHERE due IS NOT NULL AND settled IS NULL;
CREATE INDEX part_order_job ON part_order (job_id);
CREATE INDEX answer_trainee ON answer (trainee);
COMMIT;

"""The released forms of the record's database, oldest first.

``MIGRATIONS[n]`` brings a database of version n to version n + 1; an empty file
has version 0.  A text here is never edited once released: a change is a further
text at the end, together with a copy of a database of the former version as SQL
text among the tests.  Each step runs inside the one transaction that takes an
old file to the newest version, so that a step that fails leaves the old file.
"""

from __future__ import annotations

from typing import Final

APPLICATION_ID: Final = int.from_bytes(b"sRIG")
"""What marks a database file as the record of this program."""

_VERSION_1: Final = """
CREATE TABLE unit (
    id INTEGER PRIMARY KEY,
    machine TEXT NOT NULL,
    serial TEXT NOT NULL,
    place TEXT NOT NULL,
    note TEXT NOT NULL,
    UNIQUE (machine, serial)
);
CREATE TABLE fact (
    id INTEGER PRIMARY KEY,
    unit_id INTEGER NOT NULL REFERENCES unit,
    key TEXT NOT NULL,
    value TEXT NOT NULL,
    since TEXT NOT NULL,
    who TEXT NOT NULL,
    UNIQUE (unit_id, key)
);
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
CREATE INDEX job_unit ON job (unit_id);
CREATE INDEX job_opened ON job (opened);
CREATE TABLE sheet (
    id INTEGER PRIMARY KEY,
    job_id INTEGER NOT NULL REFERENCES job,
    taken TEXT NOT NULL,
    conditions TEXT NOT NULL,
    readings TEXT NOT NULL,
    who TEXT NOT NULL
);
CREATE INDEX sheet_job ON sheet (job_id);
CREATE TABLE check_made (
    id INTEGER PRIMARY KEY,
    job_id INTEGER NOT NULL REFERENCES job,
    "check" TEXT NOT NULL,
    result TEXT NOT NULL,
    minutes REAL,
    done TEXT NOT NULL,
    who TEXT NOT NULL
);
CREATE INDEX check_made_job ON check_made (job_id);
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
CREATE INDEX repair_job ON repair (job_id);
CREATE INDEX repair_part ON repair (part_kind, part);
CREATE INDEX repair_due ON repair (due) WHERE due IS NOT NULL AND settled IS NULL;
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
CREATE INDEX part_order_job ON part_order (job_id);
CREATE TABLE answer (
    id INTEGER PRIMARY KEY,
    trainee TEXT NOT NULL,
    topic TEXT NOT NULL,
    item TEXT NOT NULL,
    "right" INTEGER NOT NULL CHECK ("right" IN (0, 1)),
    answered TEXT NOT NULL
);
CREATE INDEX answer_trainee ON answer (trainee);
CREATE TABLE training (
    id INTEGER PRIMARY KEY,
    trainee TEXT NOT NULL UNIQUE,
    saved TEXT NOT NULL,
    progress TEXT NOT NULL
);
"""

MIGRATIONS: Final = (_VERSION_1,)
"""What brings an older file to the newest version, one text a version."""

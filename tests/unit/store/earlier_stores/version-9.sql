-- A store as version 9 of its shape kept it: that of version 8, with room for what calibrations found.
PRAGMA application_id = 1162691154;
PRAGMA user_version = 9;
BEGIN TRANSACTION;
CREATE TABLE alarms (
    bench TEXT NOT NULL REFERENCES benches (id),
    kind TEXT NOT NULL,
    raised_ns INTEGER NOT NULL,
    text TEXT NOT NULL,
    cleared_ns INTEGER,
    acknowledged_ns INTEGER,
    acknowledged_by TEXT NOT NULL,
    PRIMARY KEY (bench, raised_ns, kind)
) STRICT, WITHOUT ROWID;
CREATE TABLE benches (
    id TEXT PRIMARY KEY,
    created_ns INTEGER NOT NULL
) STRICT;
INSERT INTO "benches" VALUES('shed',1764072000000000000);
CREATE TABLE blocks (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    last_id INTEGER NOT NULL CHECK (last_id >= id),
    bench TEXT NOT NULL REFERENCES benches (id),
    trial TEXT REFERENCES trials (id),
    start_ns INTEGER NOT NULL,
    end_ns INTEGER NOT NULL,
    samples INTEGER NOT NULL,
    commits INTEGER NOT NULL,
    codec INTEGER NOT NULL,
    payload BLOB NOT NULL
) STRICT;
INSERT INTO "blocks" VALUES(1,1,'shed',NULL,1764072000000000000,1764072001900000000,28,1,1,X'789CF3666060888E8E36D48936D0318C8D8DD5898E564A492D53D231D451CA4D2C2E56D2514A53020A1AE8181980A5E1B2E58925A94508698B581060C0021A1231C5CCF663113B8F29A67C0753CCEE20A658750BA698C4736CAEA13D70B0B3B1B230333132D0D3D1D250535152909391EAC7021CB0007CE6C2C2111676B0F08285112C5C606141AAFF61EE46771F4C1E00E8D03EE1');
INSERT INTO "blocks" VALUES(2,2,'shed',NULL,1764072002500000000,1764072003900000000,15,1,1,X'789CD3616060888E8E36D28936888D8DD5898E564A492D53D231D451CA4D2C2E56D2514A53020A1A99EA189AC68200032AA8CC40E15AEE41E19EB642E12ADF41E1DA1D44E156B7A070259E33D008F0F17071B0B13031FCFBF3EBC7B72F9FFAA1A00F021C50019A5E00D7112697');
CREATE TABLE calibrations (
    id INTEGER PRIMARY KEY,
    bench TEXT NOT NULL REFERENCES benches (id),
    entered_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;
INSERT INTO "calibrations" VALUES(1,'shed',1764072000000000000,'id = "shed"
[[channel]]
role = "mass"
');
CREATE TABLE corrections (
    trial TEXT NOT NULL REFERENCES trials (id),
    number INTEGER NOT NULL,
    made_ns INTEGER NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL,
    change TEXT NOT NULL,
    PRIMARY KEY (trial, number)
) STRICT, WITHOUT ROWID;
INSERT INTO "corrections" VALUES('2025-11-25-1',1,1764072060000000000,'Mira','the match was late','{"kind": "move"}');
CREATE TABLE events (
    trial TEXT NOT NULL REFERENCES trials (id),
    ordinal INTEGER NOT NULL,
    kind TEXT NOT NULL,
    t_s REAL NOT NULL,
    u_s REAL NOT NULL,
    evidence TEXT NOT NULL,
    size_g REAL,
    u_size_g REAL,
    confirmed INTEGER NOT NULL CHECK (confirmed IN (0, 1)),
    announced_t_s REAL,
    by_person INTEGER NOT NULL CHECK (by_person IN (0, 1)),
    PRIMARY KEY (trial, ordinal)
) STRICT, WITHOUT ROWID;
INSERT INTO "events" VALUES('2025-11-25-1',0,'lit',3.0,1.0,'mass falls',NULL,NULL,1,9.0,0);
INSERT INTO "events" VALUES('2025-11-25-1',1,'refuel',20.0,0.5,'a step',41.0,0.4,1,NULL,0);
CREATE TABLE findings (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    bench TEXT NOT NULL REFERENCES benches (id),
    channel TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('mass', 'probe', 'drift', 'check')),
    made_ns INTEGER NOT NULL,
    who TEXT NOT NULL,
    document TEXT NOT NULL
) STRICT;
CREATE TABLE forwarded (
    server TEXT NOT NULL,
    trial TEXT NOT NULL REFERENCES trials (id),
    revision INTEGER NOT NULL,
    lines TEXT NOT NULL,
    PRIMARY KEY (server, trial, revision)
) STRICT, WITHOUT ROWID;
CREATE TABLE gaps (
    device TEXT NOT NULL,
    boot INTEGER NOT NULL,
    channel TEXT NOT NULL,
    first_seq INTEGER NOT NULL,
    next_seq INTEGER NOT NULL CHECK (next_seq > first_seq),
    bench TEXT NOT NULL REFERENCES benches (id),
    start_ns INTEGER NOT NULL,
    end_ns INTEGER NOT NULL,
    reason TEXT NOT NULL,
    PRIMARY KEY (device, boot, channel, first_seq)
) STRICT, WITHOUT ROWID;
INSERT INTO "gaps" VALUES('dev',1,'mass',20,25,'shed',1764072000000000000,1764072001000000000,'the cable was out');
CREATE TABLE guides (
    bench TEXT PRIMARY KEY REFERENCES benches (id),
    saved_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;
CREATE TABLE inventory (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('lot', 'pot', 'stove')),
    name TEXT NOT NULL,
    entered_ns INTEGER NOT NULL,
    document TEXT NOT NULL,
    retired INTEGER NOT NULL CHECK (retired IN (0, 1))
) STRICT;
INSERT INTO "inventory" VALUES(1,'pot','small',1764072000000000000,'name = "small"
tare_g = 274.0
',0);
CREATE TABLE notes (
    id INTEGER PRIMARY KEY,
    bench TEXT NOT NULL REFERENCES benches (id),
    trial TEXT REFERENCES trials (id),
    t_ns INTEGER NOT NULL,
    text TEXT NOT NULL
) STRICT;
INSERT INTO "notes" VALUES(1,'shed','2025-11-25-1',1764072005000000000,'closed a hole');
CREATE TABLE notices (
    id INTEGER PRIMARY KEY,
    t_ns INTEGER NOT NULL,
    kind TEXT NOT NULL,
    text TEXT NOT NULL
) STRICT;
INSERT INTO "notices" VALUES(1,1764072000000000000,'clock set','The clock was set.');
CREATE TABLE outbox (
    server TEXT PRIMARY KEY,
    last_commit INTEGER NOT NULL
, last_change INTEGER NOT NULL DEFAULT 0) STRICT;
INSERT INTO "outbox" VALUES('archive',1,0);
CREATE TABLE photos (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    trial TEXT NOT NULL REFERENCES trials (id),
    taken_ns INTEGER NOT NULL,
    width INTEGER NOT NULL,
    height INTEGER NOT NULL,
    content BLOB NOT NULL
) STRICT;
INSERT INTO "photos" VALUES(1,'2025-11-25-1',1764072000000000000,2,2,X'FFD8FFD9');
CREATE TABLE plans (
    id INTEGER PRIMARY KEY,
    trial TEXT NOT NULL REFERENCES trials (id),
    entered_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;
INSERT INTO "plans" VALUES(1,'2025-11-25-1',1764072000000000000,'label = "three handfuls"
');
CREATE TABLE recalibrations (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    trial TEXT NOT NULL REFERENCES trials (id),
    made_ns INTEGER NOT NULL,
    who TEXT NOT NULL,
    calibration INTEGER NOT NULL REFERENCES calibrations (id)
) STRICT;
CREATE TABLE results (
    trial TEXT PRIMARY KEY REFERENCES trials (id),
    version TEXT NOT NULL,
    written_ns INTEGER NOT NULL,
    document TEXT NOT NULL
, listing TEXT NOT NULL DEFAULT '', change INTEGER NOT NULL DEFAULT 0) STRICT;
INSERT INTO "results" VALUES('2025-11-25-1','0.1.0',1764072000000000000,'{"schema": "emberline.summary/1"}','{}',1);
CREATE TABLE retractions (
    trial TEXT NOT NULL REFERENCES trials (id),
    ordinal INTEGER NOT NULL,
    kind TEXT NOT NULL,
    announced_t_s REAL NOT NULL,
    retracted_t_s REAL NOT NULL,
    why TEXT NOT NULL,
    PRIMARY KEY (trial, ordinal)
) STRICT, WITHOUT ROWID;
INSERT INTO "retractions" VALUES('2025-11-25-1',0,'boil',11.0,14.0,'it fell back');
CREATE TABLE series (
    name TEXT PRIMARY KEY,
    planned_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;
INSERT INTO "series" VALUES('autumn',1764072000000000000,'{}');
CREATE TABLE spans (
    device TEXT NOT NULL,
    boot INTEGER NOT NULL,
    channel TEXT NOT NULL,
    first_seq INTEGER NOT NULL,
    next_seq INTEGER NOT NULL CHECK (next_seq > first_seq),
    PRIMARY KEY (device, boot, channel, first_seq)
) STRICT, WITHOUT ROWID;
INSERT INTO "spans" VALUES('dev',1,'mass',0,20);
INSERT INTO "spans" VALUES('dev',1,'mass',25,40);
INSERT INTO "spans" VALUES('dev',1,'water',0,8);
CREATE TABLE trials (
    id TEXT PRIMARY KEY,
    bench TEXT NOT NULL REFERENCES benches (id),
    calibration INTEGER REFERENCES calibrations (id),
    label TEXT,
    origin TEXT NOT NULL CHECK (origin IN ('live', 'import')),
    source TEXT,
    start_ns INTEGER NOT NULL,
    end_ns INTEGER,
    zone TEXT NOT NULL,
    relative INTEGER NOT NULL CHECK (relative IN (0, 1)),
    remarks TEXT NOT NULL,
    created_ns INTEGER NOT NULL
) STRICT;
INSERT INTO "trials" VALUES('2025-11-25-1','shed',1,'three handfuls','live',NULL,1764072000000000000,1764072060000000000,'Europe/Oslo',0,'a remark',1764072000000000000);
CREATE INDEX trials_by_start ON trials (bench, start_ns);
CREATE INDEX plans_by_trial ON plans (trial, id);
CREATE INDEX notes_by_time ON notes (bench, t_ns);
CREATE INDEX blocks_by_bench ON blocks (bench, trial, last_id, start_ns, end_ns);
CREATE INDEX blocks_by_end ON blocks (end_ns);
CREATE INDEX gaps_by_time ON gaps (bench, start_ns);
CREATE INDEX notices_by_time ON notices (t_ns);
CREATE INDEX inventory_by_name ON inventory (kind, name, id);
CREATE INDEX photos_by_trial ON photos (trial, taken_ns);
CREATE UNIQUE INDEX results_by_change ON results (change);
CREATE INDEX findings_by_bench ON findings (bench, id);
CREATE INDEX recalibrations_by_trial ON recalibrations (trial, id);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('blocks',2);
INSERT INTO "sqlite_sequence" VALUES('photos',1);
COMMIT;

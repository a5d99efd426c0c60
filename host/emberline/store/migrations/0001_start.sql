-- Times are UTC nanoseconds. STRICT tables refuse a value of the wrong type.

CREATE TABLE benches (
    id TEXT PRIMARY KEY,
    created_ns INTEGER NOT NULL
) STRICT;

-- The bench files as they were entered: channels and calibrations, each valid until the next.
CREATE TABLE calibrations (
    id INTEGER PRIMARY KEY,
    bench TEXT NOT NULL REFERENCES benches (id),
    entered_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;

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
CREATE INDEX trials_by_start ON trials (bench, start_ns);

-- The plan files as they were entered; the last one counts.
CREATE TABLE plans (
    id INTEGER PRIMARY KEY,
    trial TEXT NOT NULL REFERENCES trials (id),
    entered_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;
CREATE INDEX plans_by_trial ON plans (trial, id);

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

CREATE TABLE retractions (
    trial TEXT NOT NULL REFERENCES trials (id),
    ordinal INTEGER NOT NULL,
    kind TEXT NOT NULL,
    announced_t_s REAL NOT NULL,
    retracted_t_s REAL NOT NULL,
    why TEXT NOT NULL,
    PRIMARY KEY (trial, ordinal)
) STRICT, WITHOUT ROWID;

CREATE TABLE results (
    trial TEXT PRIMARY KEY REFERENCES trials (id),
    version TEXT NOT NULL,
    written_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;

CREATE TABLE notes (
    id INTEGER PRIMARY KEY,
    bench TEXT NOT NULL REFERENCES benches (id),
    trial TEXT REFERENCES trials (id),
    t_ns INTEGER NOT NULL,
    text TEXT NOT NULL
) STRICT;
CREATE INDEX notes_by_time ON notes (bench, t_ns);

-- One row a bench and commit. `id` is that of the commit: AUTOINCREMENT, so that ids are never used again and grow in
-- commit order. Merging turns neighbours of a bench into one row, from the first's `id` to the last's `last_id`.
-- `trial` is set where the samples belong to one trial alone (an import), and empty for what a bench sent.
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
CREATE INDEX blocks_by_bench ON blocks (bench, trial, last_id, start_ns, end_ns);
CREATE INDEX blocks_by_end ON blocks (end_ns);

-- Which samples are stored, as ranges that never touch; they stay when old samples are pruned, so that a late
-- repeat of one is still known as a repeat.
CREATE TABLE spans (
    device TEXT NOT NULL,
    boot INTEGER NOT NULL,
    channel TEXT NOT NULL,
    first_seq INTEGER NOT NULL,
    next_seq INTEGER NOT NULL CHECK (next_seq > first_seq),
    PRIMARY KEY (device, boot, channel, first_seq)
) STRICT, WITHOUT ROWID;

-- Which samples are lost for good; never overlaps `spans`.
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
CREATE INDEX gaps_by_time ON gaps (bench, start_ns);

-- How far the commits were forwarded to each server.
CREATE TABLE outbox (
    server TEXT PRIMARY KEY,
    last_commit INTEGER NOT NULL
) STRICT;

CREATE TABLE tracker_states (
    trial TEXT PRIMARY KEY REFERENCES trials (id),
    saved_ns INTEGER NOT NULL,
    last_commit INTEGER NOT NULL,
    state BLOB NOT NULL
) STRICT;

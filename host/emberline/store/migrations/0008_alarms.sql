-- Alarms of a bench: raised, acknowledged, gone. One that an ended program left standing has no cleared_ns.
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

-- Numbers the summaries in the order in which they were written, whatever the clock does.
ALTER TABLE results ADD COLUMN change INTEGER NOT NULL DEFAULT 0;
UPDATE results SET change = (SELECT count(*) FROM results AS other WHERE other.trial <= results.trial);
CREATE UNIQUE INDEX results_by_change ON results (change);
ALTER TABLE outbox ADD COLUMN last_change INTEGER NOT NULL DEFAULT 0;

-- What a server was sent of a trial's events and results, so that it can be told which rows hold no more.
CREATE TABLE forwarded (
    server TEXT NOT NULL,
    trial TEXT NOT NULL REFERENCES trials (id),
    revision INTEGER NOT NULL,
    lines TEXT NOT NULL,
    PRIMARY KEY (server, trial, revision)
) STRICT, WITHOUT ROWID;

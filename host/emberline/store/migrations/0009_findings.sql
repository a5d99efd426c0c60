-- What calibrations and checks of a bench found, as a person did them; entries are never changed.
CREATE TABLE findings (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    bench TEXT NOT NULL REFERENCES benches (id),
    channel TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('mass', 'probe', 'drift', 'check')),
    made_ns INTEGER NOT NULL,
    who TEXT NOT NULL,
    document TEXT NOT NULL
) STRICT;
CREATE INDEX findings_by_bench ON findings (bench, id);

-- Trials whose record was read with another calibration later: the last one counts, that of the trial stays.
CREATE TABLE recalibrations (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    trial TEXT NOT NULL REFERENCES trials (id),
    made_ns INTEGER NOT NULL,
    who TEXT NOT NULL,
    calibration INTEGER NOT NULL REFERENCES calibrations (id)
) STRICT;
CREATE INDEX recalibrations_by_trial ON recalibrations (trial, id);

-- Fuel lots, pots and stoves as they were entered; the last version of each counts, and a retired one is not offered.
CREATE TABLE inventory (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('lot', 'pot', 'stove')),
    name TEXT NOT NULL,
    entered_ns INTEGER NOT NULL,
    document TEXT NOT NULL,
    retired INTEGER NOT NULL CHECK (retired IN (0, 1))
) STRICT;
CREATE INDEX inventory_by_name ON inventory (kind, name, id);

-- Where the guided burn of each bench is, so that a restart does not lose it.
CREATE TABLE guides (
    bench TEXT PRIMARY KEY REFERENCES benches (id),
    saved_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;

-- Planned series of burns; the order and the stop rule of one never change.
CREATE TABLE series (
    name TEXT PRIMARY KEY,
    planned_ns INTEGER NOT NULL,
    document TEXT NOT NULL
) STRICT;

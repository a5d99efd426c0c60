-- What a person changed of a trial, numbered from 1; entries are never changed, an undoing is an entry like the others.
CREATE TABLE corrections (
    trial TEXT NOT NULL REFERENCES trials (id),
    number INTEGER NOT NULL,
    made_ns INTEGER NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL,
    change TEXT NOT NULL,
    PRIMARY KEY (trial, number)
) STRICT, WITHOUT ROWID;

-- What a list of trials shows of each, written with its summary; empty where an earlier version wrote that.
ALTER TABLE results ADD COLUMN listing TEXT NOT NULL DEFAULT '';

-- What a person must know of the recording itself: a store set aside, a time without recording, a clock that was set.
CREATE TABLE notices (
    id INTEGER PRIMARY KEY,
    t_ns INTEGER NOT NULL,
    kind TEXT NOT NULL,
    text TEXT NOT NULL
) STRICT;
CREATE INDEX notices_by_time ON notices (t_ns);

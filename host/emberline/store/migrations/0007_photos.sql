-- Photos of trials, as JPEG without any data beside the picture.
CREATE TABLE photos (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    trial TEXT NOT NULL REFERENCES trials (id),
    taken_ns INTEGER NOT NULL,
    width INTEGER NOT NULL,
    height INTEGER NOT NULL,
    content BLOB NOT NULL
) STRICT;
CREATE INDEX photos_by_trial ON photos (trial, taken_ns);

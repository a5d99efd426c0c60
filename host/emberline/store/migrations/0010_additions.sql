-- How often something was added to a trial after its end, and how many of these additions its summary knows of.
ALTER TABLE trials ADD COLUMN additions INTEGER NOT NULL DEFAULT 0;
ALTER TABLE results ADD COLUMN additions INTEGER NOT NULL DEFAULT 0;
CREATE INDEX trials_by_end ON trials (end_ns) WHERE origin = 'live';

"""Everything that is kept: one SQLite file, and the exports from it."""

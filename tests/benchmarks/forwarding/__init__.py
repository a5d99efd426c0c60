"""A time-series server that hangs: what it costs the recording, and what it has once it answers again."""

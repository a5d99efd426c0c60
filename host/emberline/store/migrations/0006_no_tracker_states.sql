-- A trial goes on from its stored samples, which takes seconds; a state of its own was never kept.
DROP TABLE tracker_states;

"""`deploy/bench benches`: how many benches one daemon records on one machine, and at what cost."""

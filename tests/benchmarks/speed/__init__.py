"""`deploy/bench speed`: how fast, how small, and how far from what could be."""

"""The C codec beside the Python codec: random messages through both, and input that is meant to hurt."""

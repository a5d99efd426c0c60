"""From samples to events: the 1 Hz grid and the detectors. Pure."""

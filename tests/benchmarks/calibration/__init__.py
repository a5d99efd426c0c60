"""`deploy/bench calibration`: guided calibrations on simulated hardware whose errors are known."""

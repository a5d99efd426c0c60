"""How near the truth events, results and forecasts come, on random burns of the simulators and on published ones."""

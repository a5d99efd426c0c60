"""A copy of everything on a time-series server of the owner's, for dashboards; the store stays the truth."""

"""The running daemon: from a link's readings to the store, to live values and to a trial's summary."""

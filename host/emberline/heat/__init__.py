"""From events to energy: the ledger of the load cell, water, combustion and the results. Pure."""

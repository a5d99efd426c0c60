"""A bench calibrated by a person: what is seen of loads, baths and warm-up runs in the readings as they come."""

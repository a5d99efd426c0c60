"""A recording daemon for as long as one likes, burn after burn, with everything going wrong now and then."""

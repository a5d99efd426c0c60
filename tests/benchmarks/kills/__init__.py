"""A daemon killed again and again at random moments of a burn, and of the summary that follows it."""

"""Many trials: whether a change helped, how sure that is, and how many more burns would tell."""

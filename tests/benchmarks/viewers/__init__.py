"""`deploy/bench viewers`: many people watch, and recording does not notice."""

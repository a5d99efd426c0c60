"""A broker that is away for ten minutes, and a cable that is out as long, while the devices keep what they sample."""

"""What the benchmarks of the running service share: how they tell what came out."""

"""When a reading means something again, and whether a repair held."""

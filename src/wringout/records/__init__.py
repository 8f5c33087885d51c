"""What was read, forced, changed and noted, by whom: append-only events in one SQLite file, merged between
devices."""

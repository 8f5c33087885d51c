"""Trace: where a signal runs, what it should read at each place, and where it turns wrong."""

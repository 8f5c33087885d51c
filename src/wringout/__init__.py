"""Wringout: from a building that will not dry out to a proven repair."""

__version__ = "0.1.0"

"""Trend files in, findings out: what a controller logged, read with its dirt, and what it says about the
machine."""

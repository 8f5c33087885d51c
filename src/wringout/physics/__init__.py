"""Physics: pure functions over numpy arrays, SI units, one subject a file. Imports nothing of ours but errors."""

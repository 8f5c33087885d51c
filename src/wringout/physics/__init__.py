"""Physics: pure functions over numpy arrays, SI, one subject a file. Imports nothing of ours but errors."""

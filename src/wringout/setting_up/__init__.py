"""Setting up: what to set a machine to, each answer with its formula, its source and its uncertainty."""

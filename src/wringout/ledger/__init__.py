"""Heat and moisture that each part moves, by every route the readings allow, and what does not add up."""

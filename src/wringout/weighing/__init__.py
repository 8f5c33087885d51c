"""Which causes make the readings likely, and what to read next."""

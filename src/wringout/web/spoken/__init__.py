"""What a technician says in one line, understood as readings, held states and places not to be read."""

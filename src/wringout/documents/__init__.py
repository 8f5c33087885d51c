"""Unit, call and trend documents: read, checked, SI inside, with what was given and what was assumed."""

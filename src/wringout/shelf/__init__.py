"""Manuals and wiring diagrams of a unit: searchable by word and label, shown with the hit marked, offline."""

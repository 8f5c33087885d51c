"""Earlier visits to a unit: what was left, what differs now, and what they tell of its healthy machine."""

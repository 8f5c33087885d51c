"""Two invented buildings, each with a call that goes wrong in a way of its own, told step by step."""

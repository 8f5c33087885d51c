"""The unit as a function: parameters, conditions and operating state in, every test point out."""

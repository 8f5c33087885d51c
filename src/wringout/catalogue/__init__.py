"""What there is to read, what can be wrong and what can hurt: data, and the few functions data cannot say."""

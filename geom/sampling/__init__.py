"""Where to measure, first and next."""

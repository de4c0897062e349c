"""What to do about each zone, and what to order for it."""

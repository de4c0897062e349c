"""Statistics with no furnace in it."""

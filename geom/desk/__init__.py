"""Readings as they are typed: kept at once, and the wall with them as they come."""

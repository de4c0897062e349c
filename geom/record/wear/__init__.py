"""Wear rates from the surveys of a record."""

"""Flat pictures."""

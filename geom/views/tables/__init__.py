"""Rows of the tables that people read."""

"""The record's files."""

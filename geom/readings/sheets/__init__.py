"""Sheets that people type: tables, their columns and forms."""

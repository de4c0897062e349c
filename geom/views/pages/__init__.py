"""Pages that open in a browser."""

"""Two campaigns side by side."""

"""Two campaigns beside each other."""

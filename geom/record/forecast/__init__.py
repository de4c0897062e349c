"""How many heats until a limit."""

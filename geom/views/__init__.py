"""What people look at, and what other programs read: every file of a survey."""

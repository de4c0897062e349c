"""Bricks, pieces, rings and courses: what can be laid in a round wall."""

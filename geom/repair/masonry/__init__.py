"""Bricks, rings, bonds and courses: what can be laid in a round wall."""

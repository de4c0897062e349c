"""What people look at, and what other programs read: every file of a survey."""

from geom.views.outputs import FILES, write_files

__all__ = ["FILES", "write_files"]

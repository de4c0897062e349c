"""Whether the wall is back on its drawing."""

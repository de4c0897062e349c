"""Change points of the wear rate: where and since when it has stepped."""

"""How point clouds enter the process: bins, cells, registration."""

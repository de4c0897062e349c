"""How rod readings enter the process: their errors, outliers, datum bands, history."""

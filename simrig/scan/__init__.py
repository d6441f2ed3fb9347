"""From contacts to readings: the matrix as it is wired, and what the controller makes of it."""

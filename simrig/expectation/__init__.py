"""What must be read, what was seen, and how the two differ: at rest and in time."""

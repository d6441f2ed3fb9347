"""What can be wrong, which check next, and what the bench must be like for it."""

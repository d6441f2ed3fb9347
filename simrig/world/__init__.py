"""Where balls are and where they can go: legal positions, moves, phases, and rolling in time."""

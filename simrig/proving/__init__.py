"""Proof of a repair: every position filled and emptied again, watched at every step."""

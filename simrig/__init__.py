"""simrig."""

"""Three invented machines: the demo profiles of simrig."""

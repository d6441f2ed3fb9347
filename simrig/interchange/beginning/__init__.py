"""A profile for a machine that has none: from a switch list, a few answers, balls fed by hand."""

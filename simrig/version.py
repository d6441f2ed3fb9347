"""The version of this simrig."""

VERSION = "0.1.0"

"""The harness for pytest: scenario files as tests, a machine to move balls on by hand."""

"""Questions for a trainee, made from the machines at hand and answered by the same chain."""

"""Answers and files for other tools: sheets, scenarios, logs, and the formats in and out."""

"""Answers for people: words, tables, drawings, paper."""

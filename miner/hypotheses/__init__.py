"""Turns a table into a guarded ranking."""

"""Finds what comes before, or goes with, one person's bad glucose days."""

__version__ = "0.1.0"

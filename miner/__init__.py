"""Finds what comes before, or goes with, one person's bad glucose days."""

"""Judges kept hypotheses on new days and by alternating tests."""

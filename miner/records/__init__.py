"""Reads files into six tidy streams; knows files, units and time zones."""

"""Turns a table into a ranking that allows for luck."""

"""Promises: whether what is said of the size, the reach and the dates is what happens."""

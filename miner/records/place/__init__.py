"""Times on one time line, values in one unit."""

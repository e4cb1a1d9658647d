"""Files with known values, the ways in which such files go wrong, and what is said of it."""

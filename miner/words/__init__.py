"""Facts in words: what a person reads, for whom and at which door."""

"""The practitioner's own page: a small server on this machine over the same functions."""

"""Turns results into sentences, figures, pages and tables."""

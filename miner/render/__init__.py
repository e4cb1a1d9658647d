"""Documents as terminal text, pages, print and files; facts as tables."""

"""Figures of the pages: SVG with text as text, coloured by the page that holds them."""

"""Main sleeps, and the biological days between them."""

"""Results as plain text: what a person reads on a terminal or in a file."""

"""The same over many clients, and what they share."""

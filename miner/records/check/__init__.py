"""What cannot be right in records: told, and left out where that is sure."""

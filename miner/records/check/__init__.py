"""What cannot be right in records: reported, and left out where that is sure."""

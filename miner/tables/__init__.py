"""Turns streams into a row a day and a row a meal; knows physiology, no statistics."""

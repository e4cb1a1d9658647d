"""Readings in time order, their rises, and what is measured of them."""

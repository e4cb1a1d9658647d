"""The calibration: how often each method errs, and what it finds."""

"""Benchmarks: every figure with the command that makes it."""

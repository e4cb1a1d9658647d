"""Proposes how a file that was never seen could be mapped, with reasons; nothing is read by it."""

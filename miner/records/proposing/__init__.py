"""Proposes how a file that was never seen could be mapped, with reasons; nothing is read by it."""

from miner.records.proposing.entry import add_entry
from miner.records.proposing.propose import propose

__all__ = ["add_entry", "propose"]

"""Proposes how a file that was never seen could be mapped, with reasons; nothing is read by it."""

from miner.records.propose.propose import propose
from miner.records.propose.saved import as_toml, pattern_of, put_entries, take_back

__all__ = ["as_toml", "pattern_of", "propose", "put_entries", "take_back"]

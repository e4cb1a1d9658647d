"""Reads files into six tidy streams; knows files, units and time zones."""

from miner.records.client import STREAMS, Client, LeftOutDay, Settings
from miner.records.client_folder import read_client

__all__ = ["STREAMS", "Client", "LeftOutDay", "Settings", "read_client"]

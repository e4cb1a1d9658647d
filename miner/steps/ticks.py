"""What the check tells of a client's ticks."""

from __future__ import annotations

from miner import ledger
from miner.core.errors import MinerError
from miner.core.results import Finding, Severity
from miner.followup.ticked import misplaced
from miner.ledger import replay
from miner.records.client import Client
from miner.records.write.ticks import read_ticks


def ticks_told(client: Client) -> tuple[Finding, ...]:
    """Return what is wrong with the ticks of a client: as a file, and in the light of the plans.

    Args:
        client: as read, or any client of that folder.
    """
    try:
        ticks = read_ticks(client.folder)
        plans = replay(ledger.read(client.folder)).plans if ticks.by_day else ()
    except MinerError as error:
        told = (error.file, error.row, error.found, error.expected, error.do)
        return (Finding.worded(Severity.QUESTION, *told, 1),)
    return (*ticks.findings, *misplaced(ticks, plans))

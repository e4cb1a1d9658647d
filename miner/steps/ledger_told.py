"""What the check tells of a client's ledger."""

from __future__ import annotations

from miner import ledger
from miner.core.errors import MinerError
from miner.core.results import Finding, Severity
from miner.records.client import Client
from miner.steps.past import whose


def ledger_told(client: Client) -> tuple[Finding, ...]:
    """Return what is wrong with the ledger of a client: entries lost, changed, of a newer miner.

    A folder in which nothing can be written down is told too; without a ledger nothing is.

    Args:
        client: as read, or any client of that folder.
    """
    try:
        book = ledger.owned(ledger.read(client.folder), whose(client.settings, client.folder))
    except MinerError as error:
        told = (ledger.NAME, error.row, error.found, error.expected, error.do)
        return (Finding.worded(Severity.QUESTION, *told, 1),)
    newer = any(item.code == "ledger_newer" for item in book.problems)
    closed = Finding.worded(
        Severity.NOTE, ledger.NAME, None,
        "nothing can be written here: no question, look or verdict is kept",
        "a folder this account may write to", "Check who owns the folder, and the disk.", 1,
    )  # fmt: skip
    return book.problems if book.writable or newer else (*book.problems, closed)

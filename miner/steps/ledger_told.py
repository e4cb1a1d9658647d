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
        why = {"why": error.as_message()}
        code = "ledger_unreadable"
        return (Finding(Severity.QUESTION, ledger.NAME, error.row, code=code, values=why),)
    newer = any(item.code == "ledger_newer" for item in book.problems)
    closed = Finding(Severity.NOTE, ledger.NAME, None, code="ledger_not_writable")
    return book.problems if book.writable or newer else (*book.problems, closed)

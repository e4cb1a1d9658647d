"""Files whose dates stand in one column and whose times of day in another."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from miner.records.read.sources import TIME_OF_DAY, Source

if TYPE_CHECKING:
    from miner.records.read.table_file import Table
    from miner.records.text_columns import Text

MIDNIGHT = r"[T ]0?0:00(?::00(?:\.0+)?)?$"


def with_time_of_day(table: Table, source: Source) -> Table:
    """Return a table whose column of dates holds the times of day too, where they stand apart.

    Args:
        table: the rows of the file.
        source: its mapping; ``time_of_day`` names the second column.
    """
    if TIME_OF_DAY not in source.columns:
        return table
    date = source.columns["start" if "start" in source.columns else "time"]
    text = join(table.text(date), table.text(source.columns[TIME_OF_DAY]))
    return replace(table, cells=table.cells.assign(**{date: text.to_numpy()}))


def join(date: Text, clock: Text) -> Text:
    """Put dates and times of day together, a blank between; where either is missing, the other."""
    day = date.str.replace(MIDNIGHT, "", regex=True)
    whole = (day + " " + clock).str.strip()
    return whole.where((date != "") & (clock != ""), date)

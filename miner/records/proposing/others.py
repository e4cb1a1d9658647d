"""What the client's other files say of one: the order of dates, and when the client was up."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.errors import MinerError
from miner.core.results.mapping import Proposal
from miner.records.client import Settings
from miner.records.columns import STILL
from miner.records.discover import TABLES, Found
from miner.records.findings import Findings
from miner.records.proposing.exports import Limits
from miner.records.reading import read_file
from miner.records.sources import Source
from miner.records.text_file import read_bytes

Stamps = NDArray[np.datetime64]
_MINUTE = np.timedelta64(1, "m")
_AWAKE = ("activity", "meals")


@dataclass
class Others:
    """The other files of a client, looked at only where something asks for them.

    Attributes:
        path: the file that is mapped.
        folder: the client's.
        propose: proposes the entries of another file, by that file alone.
        settings: of the client.
    """

    path: Path
    folder: Path
    propose: Callable[[Path], Sequence[Proposal]] | None
    settings: Settings

    @cached_property
    def proposals(self) -> list[tuple[Path, Proposal]]:
        """Return what is proposed for each of the other tables, where that is whole."""
        if self.propose is None:
            return []
        found: list[tuple[Path, Proposal]] = []
        for path in sorted(self.folder.iterdir()):
            if path.name != self.path.name and path.suffix.lower() in TABLES and path.is_file():
                try:
                    found += [(path, each) for each in self.propose(path) if each.complete]
                except MinerError:
                    continue
        return found

    def write_dates_as(self, form: str) -> list[str]:
        """Return the files that decide by themselves to write their dates in this order."""
        date = form.split("%Y")[0].split("%y")[0]
        return [
            path.name
            for path, each in self.proposals
            if str(each.entry.get("time_format") or "").startswith(date)
        ]

    @cached_property
    def readings(self) -> tuple[np.datetime64, np.datetime64] | None:
        """Return the first and the last day of the glucose, by the other files; None without."""
        times = [
            _clock(path, each, self.settings)
            for path, each in self.proposals
            if each.stream == "glucose"
        ]
        days = np.concatenate([*times, np.zeros(0, "datetime64[ns]")]).astype("datetime64[D]")
        return (days.min(), days.max()) if days.size else None

    @cached_property
    def awake(self) -> Stamps:
        """Return when the client was up, by the clock: steps, movement and meals."""
        found = [np.zeros(0, dtype="datetime64[ns]")]
        for path, each in self.proposals:
            if each.stream in _AWAKE and "utc_offset" not in each.entry["columns"]:
                found.append(_clock(path, each, self.settings))
        return np.sort(np.concatenate(found))

    def clock_of_nights(
        self,
        start: Stamps,
        minutes: NDArray[np.float64],
        ahead: NDArray[np.float64],
        limits: Limits,
    ) -> tuple[str | None, dict[str, int]]:
        """Say whether nights are in UTC or by the clock: which has fewer steps and meals in them.

        Args:
            start: starts as they stand there.
            minutes: their lengths.
            ahead: how far the clock is ahead of UTC, in minutes.
            limits: how clear it has to be.

        Returns:
            utc, local or None; on how many nights it has fewer, and on how many the other.
        """
        good = ~np.isnat(start) & ~np.isnan(minutes) & ~np.isnan(ahead) & (ahead != 0)
        length = np.maximum(minutes[good] - 2 * limits.not_yet_asleep_min, 0) * _MINUTE
        begins = start[good] + limits.not_yet_asleep_min * _MINUTE
        local, utc = (
            np.searchsorted(self.awake, each + length) - np.searchsorted(self.awake, each)
            for each in (begins, begins + ahead[good] * _MINUTE)
        )
        fewer = {"utc": int((utc < local).sum()), "local": int((local < utc).sum())}
        likely, other = sorted(fewer, key=lambda clock: -fewer[clock])
        clear = fewer[likely] >= limits.fewest_nights
        clear &= fewer[other] <= limits.share_of_nights * fewer[likely]
        return likely if clear else None, {"nights": fewer[likely], "others": fewer[other]}


def _clock(path: Path, proposal: Proposal, settings: Settings) -> Stamps:
    """Return the times of a file by the wall clock; of movement only where somebody moved."""
    source = Source.model_validate(dict(proposal.entry))
    found = Found(path, path.name, source.stream, source)
    frame = read_file(found, read_bytes(path, path.name), settings, Findings()).frame
    if frame is None or frame.empty:
        return np.zeros(0, dtype="datetime64[ns]")
    if source.stream == "activity":
        counted = frame["steps"].notna().any()
        moving = frame["steps"] > 0 if counted else frame["kind"] != STILL
        frame = frame[moving & (frame["left_out"] == "")]
    clock = frame["clock" if "clock" in frame.columns else "start_clock"]
    return pd.to_datetime(clock).dropna().to_numpy("datetime64[ns]")

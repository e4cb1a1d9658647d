"""A random small month in a random dialect reads back as it was.

``FUZZ_TIMES`` multiplies the number of cases; without it there are half as many.
"""

import os
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from miner.records import read_client

PARTS = 4  # workers share them
FUZZ_TIMES = int(os.environ.get("FUZZ_TIMES", "1"))
CASES = 50 * FUZZ_TIMES if FUZZ_TIMES > 1 else 25
FORMATS = [
    "%Y-%m-%dT%H:%M",
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%dT%H:%M:%S%z",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %I:%M %p",
    "%d.%m.%y %H:%M",
    "%Y%m%dT%H%M",
    "%d %b %Y %H:%M:%S %z",
]
ISO = 3
ZONES = ["Europe/Lisbon", "America/New_York", "Australia/Sydney", "Asia/Kolkata", None]
LABELS = ["soup", "Soup, hot", 'a "big"\nplate', "caf\u00e9; bread", "\u5bff\u53f8", "1,5", "LO"]


@dataclass(frozen=True)
class Dialect:
    """How the files of one case are written."""

    delimiter: str
    comma: bool
    encoding: str
    format: str
    iso: bool
    zone: str | None
    end: str
    skip: int
    blank: bool
    molar: bool
    cadence: int
    shuffled: bool
    files: int
    overlap: int
    twice: bool
    month: int
    seed: int

    @property
    def offset(self) -> bool:
        """Return whether each time carries its offset."""
        return "%z" in self.format


dialects = st.builds(
    Dialect,
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    comma=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    format=st.sampled_from(FORMATS),
    iso=st.booleans(),
    zone=st.sampled_from(ZONES),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    skip=st.integers(0, 2),
    blank=st.booleans(),
    molar=st.booleans(),
    cadence=st.sampled_from([1, 5, 15]),
    shuffled=st.booleans(),
    files=st.integers(1, 3),
    overlap=st.integers(0, 4),
    twice=st.booleans(),
    month=st.integers(1, 12),
    seed=st.integers(0, 2**32 - 1),
)


def month_of(d: Dialect, generator: np.random.Generator) -> pd.DatetimeIndex:
    """A few short stretches of readings in one month; local times that come once only."""
    days = np.sort(generator.choice(28, 4, replace=False))
    start = pd.Timestamp(2026, d.month, 1)
    hours = [
        start + pd.Timedelta(days=int(day), hours=int(generator.integers(4, 20))) for day in days
    ]
    parts = [pd.date_range(hour, periods=8, freq=f"{d.cadence}min") for hour in hours]
    times = parts[0].append(parts[1:])
    return times.tz_localize(d.zone) if d.zone else times


def spelt(moment: pd.Timestamp, d: Dialect) -> str:
    if moment.tz is None and d.offset:
        moment = moment.tz_localize("UTC")
    return moment.strftime(d.format)


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def written(d: Dialect, header: list[str], rows: list[list[str]]) -> bytes:
    lines = [d.delimiter.join(row) for row in rows]
    if d.blank:
        lines.insert(len(lines) // 2, "")
        lines.append("")
    head = ["made by nobody"] * d.skip
    return (d.end.join([*head, d.delimiter.join(header), *lines]) + d.end).encode(d.encoding)


def entry(d: Dialect, file: str, stream: str, columns: str) -> str:
    mark = d.delimiter.replace("\t", "\\t")
    form = "" if d.iso and d.format in FORMATS[:ISO] else f'time_format = "{d.format}"\n'
    utf16 = 'encoding = "utf-16"\n' if d.encoding == "utf-16" else ""
    comma = "," if d.comma and d.delimiter != "," else "."
    return (
        f'[[source]]\nfile = "{file}"\nstream = "{stream}"\nskip_rows = {d.skip}\n'
        f'delimiter = "{mark}"\ndecimal = "{comma}"\n{form}{utf16}[source.columns]\n{columns}\n'
    )


def write(folder: Path, d: Dialect, times: pd.DatetimeIndex, values: np.ndarray) -> None:
    generator = np.random.default_rng(d.seed + 1)
    comma = d.comma and d.delimiter != ","
    shown = [f"{v / 18.0156:.5f}" if d.molar else f"{v:.1f}" for v in values]
    rows = [
        [spelt(t, d), v.replace(".", ",") if comma else v]
        for t, v in zip(times, shown, strict=True)
    ]
    cuts = np.linspace(0, len(rows), d.files + 1).astype(int)
    for number, (low, high) in enumerate(pairwise(cuts)):
        part = rows[max(0, low - d.overlap) : high]
        if d.twice:
            part = [*part, *part[:3]]
        if d.shuffled:
            part = [part[at] for at in generator.permutation(len(part))]
        (folder / f"g{number}.txt").write_bytes(written(d, ["When", "Value"], part))
    meals = [[spelt(t, d), quoted(label)] for t, label in zip(times[::5], LABELS, strict=False)]
    body = written(d, ["When", "What"], meals)
    (folder / "m.txt").write_bytes(body)
    unit = "glucose_mmol_l" if d.molar else "glucose_mg_dl"
    (folder / "sources.toml").write_text(
        entry(d, "g*.txt", "glucose", f'time = "When"\n{unit} = "Value"')
        + entry(d, "m.txt", "meals", 'time = "When"\nlabel = "What"')
    )
    if d.zone:
        (folder / "client.toml").write_text(f'time_zone = "{d.zone}"\n')


def reads_back(d: Dialect) -> None:
    generator = np.random.default_rng(d.seed)
    times = month_of(d, generator)
    values = np.round(generator.uniform(60, 250, len(times)), 1)
    with TemporaryDirectory() as place:
        write(Path(place), d, times, values)
        client = read_client(place)
    glucose = client.streams["glucose"]
    clock = times.tz_localize(None) if d.zone else times
    instant = times.tz_convert("UTC").tz_localize(None) if d.zone else times
    assert glucose["clock"].tolist() == clock.tolist()
    assert glucose["time"].tolist() == instant.tolist()
    np.testing.assert_allclose(glucose["glucose"], values, atol=1e-3)
    assert (glucose["left_out"] == "").all()
    labels = client.streams["meals"]["label"].tolist()
    assert labels == [each.replace("\r\n", "\n") for each in LABELS[: len(labels)]]
    assert len(labels) == len(times[::5])
    assert not [item for item in client.findings if item.severity == "stop"]


@pytest.mark.cases
@pytest.mark.parametrize("part", range(PARTS))
def test_a_random_month_in_a_random_dialect(part: int) -> None:
    many = settings(
        max_examples=CASES,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    seed(part)(many(given(d=dialects)(reads_back)))()

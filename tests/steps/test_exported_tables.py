"""A client's records, exported as CSV and read back, give the same table by day and by meal."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from same_tables import table_differences

import miner
from miner.core import resources
from miner.steps.exporting import export

MAPPING = """\
[[source]]
file = "level.csv"
stream = "stress"
not_measured = ["-1"]
[source.columns]
time = "When"
[source.episodes]
column = "Level"
at_least = 3
for_min = {for_min}
join_gaps_min = {join}

[[source]]
file = "blocks.csv"
stream = "activity"
[source.columns]
start = "from"
duration = "lasted"
steps = "steps"
[source.units]
duration = "s"
[source.constants]
kind = "steps"
"""
LABELS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cs"], exclude_characters="\x00"), max_size=12
)
FUZZ_TIMES = int(os.environ.get("FUZZ_TIMES", "1"))
WORDS = st.sampled_from(["rice", "tea, milk", '"soup"', "=1+1", "-", "two\nlines", "NA", " x ", ""])


def there_and_back(folder: Path) -> tuple[miner.records.client.Client, ...]:
    """Return a client, and the same after its records were exported and read again."""
    read = miner.read_client(folder)
    with TemporaryDirectory() as place:
        export(read, "csv", Path(place) / "taken" / folder.name)
        return read, miner.read_client(Path(place) / "taken" / folder.name)


@pytest.mark.parametrize("messy", [True, False])
@pytest.mark.parametrize(("number", "zone"), [(1, None), (5, "Europe/Lisbon"), (7, "Asia/Kolkata")])
def test_of_an_invented_month(tmp_path, number, zone, messy):
    invented = resources.invented()
    one = invented.scenarios(8, days=24, seed=3)[number]
    folder = tmp_path / "practice" / "client"
    invented.write_client(folder, replace(one, messy=messy, time_zone=zone, misspelt=0.3))
    read, again = there_and_back(folder)
    assert not table_differences(read, again)
    assert read.settings == again.settings
    for stream, worn in read.worn.items():
        pd.testing.assert_frame_equal(worn, again.worn[stream])


def spell(times: pd.DatetimeIndex, zone: str | None) -> list[str]:
    local = times if zone is None else times.tz_localize("UTC").tz_convert(zone)
    return [each.isoformat() for each in local]


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def write_small(
    folder: Path, seed: int, zone: str | None, labels: list[str], *, blocks: bool
) -> None:
    """Write five days with gaps, missing ends, blanks and doubtful rows in every stream."""
    rng = np.random.default_rng(seed)
    every = pd.date_range("2026-03-01", periods=5 * 288, freq="5min")
    kept = every[rng.random(len(every)) > rng.choice([0.0, 0.1, 0.4])]
    values = np.round(110 + 40 * np.sin(np.arange(len(kept)) / 30) + rng.normal(0, 6, len(kept)), 1)
    cells = [str(v) for v in values]
    for at in rng.integers(0, len(cells), 6):
        cells[at] = str(rng.choice(["LO", "HI", "oops", "", "900"]))
    sensor = rng.choice(["", "s1"])
    rows = [f"{t},{v},{sensor}" for t, v in zip(spell(kept, zone), cells, strict=True)]
    rows += rows[:5]
    (folder / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl,sensor", *rows]))

    def some(n: int) -> pd.DatetimeIndex:
        minutes = np.sort(rng.integers(0, 5 * 1440, n))
        return pd.Timestamp("2026-03-01") + pd.to_timedelta(minutes, unit="min")

    lines = ["start,end,asleep_min,deep_min,awake_min,kind"]
    for day in range(5):
        bed = pd.Timestamp("2026-03-01") + pd.Timedelta(minutes=int(day * 1440 + 1380))
        bed += pd.Timedelta(minutes=int(rng.integers(-90, 120)))
        up = bed + pd.Timedelta(minutes=int(rng.integers(200, 600)))
        asleep = rng.choice(["", str((up - bed).seconds // 60 - 20)])
        start, end = spell(pd.DatetimeIndex([bed, up]), zone)
        lines += [f"{start},{end},{asleep},{rng.integers(20, 90)},{rng.integers(0, 90)},"]
    (folder / "sleep.csv").write_text("\n".join(lines))

    lines = ["start,end,kind,intensity"]
    for start, length in zip(some(12), rng.integers(-5, 90, 12), strict=True):
        begin, end = spell(pd.DatetimeIndex([start, start + pd.Timedelta(minutes=length)]), zone)
        kind = rng.choice(["walking", "run", "yoga"])
        lines.append(
            f"{begin},{end if rng.random() > 0.2 else ''},{kind},{rng.choice(['', 'vigorous'])}"
        )
    (folder / "activity.csv").write_text("\n".join(lines))

    lines = ["time,label,carbs_g,protein_g,fibre_level"]
    times = some(len(labels))
    for time, label in zip(spell(times, zone), labels, strict=True):
        grams = [str(rng.choice(["", "0", "12.5", "61", "x"])) for _ in range(2)]
        lines.append(f"{time},{quoted(label)},{','.join(grams)},{rng.choice(['', 'low'])}")
    (folder / "meals.csv").write_text("\n".join(lines), encoding="utf-8")

    lines = [
        "time,tag",
        *(f"{t},{rng.choice(['Wine', 'wine ', 'run'])}" for t in spell(some(6), zone)),
    ]
    (folder / "tags.csv").write_text("\n".join(lines))

    every = every[rng.random(len(every)) > 0.2]
    level = (
        rng.integers(-1, 5, len(every))
        if rng.random() < 0.5
        else np.repeat(rng.integers(-1, 5, 40), 40)
    )
    lines = ["When,Level", *(f"{t},{v}" for t, v in zip(spell(every, zone), level, strict=False))]
    (folder / "level.csv").write_text("\n".join(lines))
    quarter = pd.date_range("2026-03-01T06:00", "2026-03-05", freq="15min") if blocks else every[:0]
    counted = [f"{t},900,{rng.choice([0, 0, 40, 900])}" for t in spell(quarter, zone)]
    (folder / "blocks.csv").write_text("\n".join(["from,lasted,steps", *counted]))
    (folder / "sources.toml").write_text(
        MAPPING.format(for_min=rng.choice([0, 15]), join=rng.choice([0, 12]))
    )


@pytest.mark.cases
@settings(
    max_examples=8 * FUZZ_TIMES,
    derandomize=True,
    deadline=None,
    phases=[Phase.generate, Phase.shrink],
)
@given(
    seed=st.integers(0, 2**32 - 1),
    zone=st.sampled_from([None, "Europe/Lisbon", "Asia/Kolkata", "America/New_York"]),
    labels=st.lists(WORDS | LABELS, min_size=1, max_size=14),
    blocks=st.booleans(),
)
def test_of_any_small_client(seed, zone, labels, blocks):
    with TemporaryDirectory() as place:
        folder = Path(place) / "practice" / "client"
        folder.mkdir(parents=True)
        write_small(folder, seed, zone, labels, blocks=blocks)
        read, again = there_and_back(folder)
    assert not table_differences(read, again)


def test_what_the_practice_says_goes_along(tmp_path):
    invented = resources.invented()
    practice = tmp_path / "practice"
    one = replace(invented.scenarios(1, days=20)[0], messy=False)
    invented.write_client(practice / "client", one)
    practice.joinpath("practice.toml").write_text(
        'display_unit = "mmol/L"\nrank_unit = "meal"\n[synonyms]\n"glass of red" = "wine"\n'
    )
    own = practice / "client" / "client.toml"
    own.write_text('# mine\nrank_unit = "day"\n' + own.read_text())
    read, again = there_and_back(practice / "client")
    assert read.settings == again.settings
    assert again.settings.display_unit == "mmol/L"
    assert again.settings.rank_unit == "day"

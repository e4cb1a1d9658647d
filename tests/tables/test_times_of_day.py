"""The table by time of day, against quantiles taken reading by reading."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pytest

from miner import rulebook, steps
from miner.core import resources
from miner.records.client import Client
from miner.tables.day_review import PARTS, times_of_day


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Client:
    """A client without sleep, so that a day is 04:00 to 04:00."""
    folder = tmp_path_factory.mktemp("times")
    invented = resources.invented()
    invented.write_client(folder / "client", invented.Scenario("client", days=20, seed=3))
    (folder / "client" / "sleep.csv").unlink()
    return steps.read_client(folder / "client")


def readings(client: Client) -> list[tuple[datetime, float]]:
    with (client.folder / "glucose.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    column = next(name for name in rows[0] if name.startswith("glucose"))
    return [(datetime.fromisoformat(row["time"][:19]), float(row[column])) for row in rows]


def test_the_parts_cover_the_day_once() -> None:
    assert [hour for _, first, last in PARTS for hour in range(first, last)] == list(range(24))


def test_each_part_holds_the_quantiles_of_its_readings(client: Client) -> None:
    rules = rulebook.load()
    table = steps.days(client, rules)
    usable = set(table.frame["date"][table.frame["usable"].astype(bool)])
    used = client.used("glucose")
    kept = set(zip(used["file"], used["row"], strict=True))
    assert len(kept) > 4000
    found = {item.name: item for item in times_of_day(client, table, rules)}
    by_part: dict[str, list[float]] = {name: [] for name, _, _ in PARTS}
    for row in used.to_dict("records"):
        clock = row["clock"].to_pydatetime()
        day = clock.date() if clock.hour >= 4 else date.fromordinal(clock.toordinal() - 1)
        if day.isoformat() in usable and row["censored"] == 0:
            name = next(n for n, first, last in PARTS if first <= clock.hour < last)
            by_part[name].append(float(row["glucose"]))
    for name, values in by_part.items():
        spread = found[name].spread
        assert spread is not None
        # Hyndman & Fan 1996, Am Stat 50:361, definition 7.
        ordered = sorted(values)
        for q, value in zip((0.05, 0.25, 0.5, 0.75, 0.95), spread, strict=True):
            place = q * (len(ordered) - 1)
            low = int(place)
            high = min(low + 1, len(ordered) - 1)
            expected = ordered[low] + (place - low) * (ordered[high] - ordered[low])
            assert value == pytest.approx(expected)
        # Equal readings 5 minutes apart: the share above the range, of 24 hours.
        assert found[name].above == pytest.approx(
            1440 * np.mean(np.array(values) > client.settings.range[1]), rel=0.02, abs=1.0
        )


def test_days_that_are_not_used_do_not_count(client: Client) -> None:
    rules = rulebook.load()
    table = steps.days(client, rules)
    before = times_of_day(client, table, rules)
    frame = table.frame.copy()
    frame["usable"] = False
    after = times_of_day(client, replace(table, frame=frame), rules)
    assert all(item.days > 15 for item in before)
    assert [(item.days, item.spread, item.above) for item in after] == [(0, None, None)] * 4


def test_a_range_up_to_140_mg_dl_is_one_up_to_7_8_mmol_l(tmp_path) -> None:
    # The ADA Standards of Care print 140 mg/dL as 7.8 mmol/L, which by itself is 140.5.
    times = np.arange("2026-03-01", "2026-03-08", np.timedelta64(5, "m"), dtype="datetime64[m]")
    for value, above in (("7.8", 0.0), ("7.9", 1440.0)):
        lines = ["time,glucose_mmol_l", *(f"{time},{value}" for time in times)]
        (tmp_path / "glucose.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        found = steps.read_client(tmp_path)
        rules = rulebook.load()
        parts = times_of_day(found, steps.days(found, rules), rules)
        assert [item.above for item in parts] == [above] * 4

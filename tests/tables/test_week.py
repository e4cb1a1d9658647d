"""The weekly check: counted by hand on a client of four weeks."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner

from miner import ledger, steps
from miner.cli.group import miner as commands
from miner.core.messages import MinerError
from miner.steps.weeks import days_left, week

FOOD_FEAR = (
    "Eating-disorder risk or food fear: refer, show no numbers or curves, and consider stopping "
    "the tracking."
)  # the words of rules/cautions.toml
START = pd.Timestamp("2026-03-02")


def day(k: int) -> str:
    return f"{START + pd.Timedelta(days=k):%Y-%m-%d}"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """28 days: nights from 23:00 to 07:00, every fourth to 04:30; meals on five days of seven."""
    times = pd.date_range(START, periods=28 * 96, freq="15min")
    rows = [f"{t:%Y-%m-%dT%H:%M},{95 + (i * 7) % 29}" for i, t in enumerate(times)]
    (tmp_path / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]))
    ends = ["04:30" if k % 4 == 0 else "07:00" for k in range(28)]
    nights = [f"{day(k - 1)}T23:00,{day(k)}T{end}" for k, end in enumerate(ends)]
    (tmp_path / "sleep.csv").write_text("\n".join(["start,end", *nights]))
    meals = [f"{day(k)}T{h}:00,food" for k in range(28) for h in (12, 19) if k % 7 < 5]
    (tmp_path / "meals.csv").write_text("\n".join(["time,label", *meals]))
    return tmp_path


def fix(folder: Path, factor: str, outcome: str, on: str) -> None:
    payload: dict[str, Any] = {
        "factor": factor, "outcome": outcome, "guess": None, "fixed_on": on, "proven": True,
    }  # fmt: skip
    ledger.append(folder, "fixed", payload, datetime(2026, 3, 1, tzinfo=UTC))


def test_what_was_logged_by_stream_and_day(folder: Path) -> None:
    found = week(steps.read_client(folder))
    assert found.days == tuple(day(k) for k in range(21, 28))
    assert found.logged["glucose"].by_day == (24.0,) * 7
    assert found.logged["meals"].by_day == (2, 2, 2, 2, 2, 0, 0)
    assert found.logged["meals"].days == 5
    assert found.logged["sleep"].by_day == (1,) * 7
    assert found.logged["tags"].days == 0
    assert found.questions == ()


def test_another_week(folder: Path) -> None:
    found = week(steps.read_client(folder), last=day(9))
    assert found.days == tuple(day(k) for k in range(3, 10))
    assert found.logged["meals"].by_day == (2, 2, 0, 0, 2, 2, 2)
    with pytest.raises(MinerError, match="The records begin on 2026-03-02"):
        week(steps.read_client(folder), last="2026-02-01")


def test_a_question_with_enough_and_one_without(folder: Path) -> None:
    fix(folder, "short_sleep", "wake_glucose", "2026-03-01")
    fix(folder, "short_sleep", "day_mean", day(17))
    enough, early = week(steps.read_client(folder)).questions
    # nights that end on days 0, 4, ... 24 are short: 7 of 28
    assert (enough.with_, enough.with_ + enough.without + enough.unknown) == (7, 28)
    assert enough.enough
    # from day 18 on: days 20 and 24 are short
    assert early.with_ == 2
    assert early.since == day(17)
    assert not early.enough
    # 10 days brought 2 of the 5 it takes, and 10 of the 20 in all at most: 15 more days
    assert early.days_to_enough == 15
    assert "About 15 more days." in str(early.sentence)


def test_never_at_this_pace(folder: Path) -> None:
    fix(folder, "late_dinner", "overnight_mean", "2026-03-01")
    (found,) = week(steps.read_client(folder)).questions
    assert found.with_ == 0
    assert found.never
    assert "At this pace it will never be enough." in str(found.sentence)
    assert found.unknown >= 8
    assert found.why_unknown


def test_what_is_kept_is_counted_too(folder: Path) -> None:
    client = steps.read_client(folder)
    table = steps.day_table(client)
    rules = steps.load_rules(None, folder)
    plain = {"mode": "json", "by_alias": True}
    definitions = {
        "factors": {"short_sleep": rules.factor("short_sleep", "day").model_dump(**plain)},
        "outcome": rules.outcome("wake_glucose", "day").model_dump(**plain),
        "range": [70, 140],
    }
    written = {
        "definitions": definitions, "lag_days": [0], "smallest_worth_it": 5.0,
        "id": "abcd1234", "as": "watch", "factors": ["short_sleep"], "outcome": "wake_glucose",
        "unit_of": "day", "suggested_by_days_to": day(13), "read_on": day(40), "direction": "up",
    }  # fmt: skip
    ledger.append(folder, "kept", written, datetime(2026, 3, 16, tzinfo=UTC))
    (found,) = week(client).questions
    later = table[table["date"] > day(13)]
    assert (found.kind, found.id) == ("kept", "abcd1234")
    assert found.with_ == int((later["short_sleep"] == 1).sum()) == 3


@pytest.mark.parametrize(
    ("lacks", "passed", "days"),
    [
        (((5, 5), (5, 9), (20, 14)), 14, 6),
        (((5, 2), (5, 12), (20, 14)), 14, 21),
        (((5, 0),), 14, None),
        (((5, 1),), 60, None),
        (((5, 1),), 45, 180),
        (((5, 2),), 6, None),
    ],
)
def test_further_days_at_the_pace_so_far(
    lacks: tuple[tuple[int, int], ...], passed: int, days: int | None
) -> None:
    assert days_left(lacks, passed) == days


def test_the_message_asks_for_what_is_missing_and_holds_no_glucose(folder: Path) -> None:
    found = week(steps.read_client(folder))
    assert tuple(map(str, found.worth_logging)) == (
        "Days with a meal noted: 5 of 7. Please note each meal when it begins, with the time and "
        "a word or two.",
    )
    assert str(found.message) == (
        "Hello, and thank you for this week. Your glucose and sleep are here for every day. "
        "One thing would help next week. Please note each meal when it begins, with the time and "
        "a word or two. A day with no notes is fine. We will just count it as not known."
    )
    assert "mg/dL" not in str(found.message)


def test_where_the_intake_may_end_the_tracking_nothing_more_is_asked_for(folder: Path) -> None:
    (folder / "client.toml").write_text('[intake]\neating_disorder = "yes"\n')
    found = week(steps.read_client(folder))
    assert (tuple(map(str, found.worth_logging)), found.message) == ((), "")
    text = CliRunner().invoke(commands, ["check", str(folder), "--week"]).stdout
    lines = " ".join(text.split())
    assert lines.startswith(f"REFER FIRST. ! {FOOD_FEAR} ")
    assert "Message to send" not in lines
    assert "Please note" not in lines


def test_any_caution_of_the_client_comes_before_the_week(folder: Path) -> None:
    (folder / "client.toml").write_text('[intake]\npregnancy = "yes"\n')
    text = CliRunner().invoke(commands, ["check", str(folder), "--week"]).stdout
    assert text.startswith("REFER FIRST.\n  ! Pregnancy, possible or planned: refer.")
    assert "Please note each meal" in text


def test_the_command_writes_nothing(folder: Path) -> None:
    fix(folder, "short_sleep", "wake_glucose", "2026-03-01")
    before = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}
    text = CliRunner().invoke(commands, ["check", str(folder), "--week"])
    assert text.exit_code == 0
    assert "That is enough to look." in " ".join(text.stdout.split())
    json_ = CliRunner().invoke(commands, ["check", str(folder), "--week", "--format", "json"])
    assert '"with": 7' in json_.stdout
    wrong = CliRunner().invoke(commands, ["check", str(folder), "--date", "2026-03-20"])
    assert (wrong.exit_code, "--date needs --week" in wrong.stderr) == (2, True)
    after = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}
    assert before == after

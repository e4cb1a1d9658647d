"""Ticks as a practitioner notes them: all as planned, day by day, and taken back."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from miner import steps
from miner.cli.group import miner as commands
from miner.core import resources
from miner.core.messages import MinerError
from miner.core.results import Plan
from miner.records.write.ticks import NOTED, read_noted, read_ticks
from miner.steps.ticking import DaysOver, Ticking

IDS = ("4c28aa7c", "658ef86f")
BEFORE = datetime(2026, 3, 8, tzinfo=UTC)
OVER = DaysOver(told="2026-03-15", whole="2026-03-14")


def agree(folder: Path, id_: str, start: date = date(2026, 3, 9)) -> Plan:
    wish = steps.Wish(start=start, pairs=6)
    return steps.plan(steps.read_client(folder), id_, wish, now=BEFORE)


@pytest.fixture(scope="module")
def agreed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Plan]:
    """A client with a test of six pairs of four days from 9 March; never changed."""
    practice = tmp_path_factory.mktemp("ticking") / "practice"
    resources.invented().write_practice(practice)
    return practice / "client-01", agree(practice / "client-01", IDS[0])


@pytest.fixture
def client(agreed: tuple[Path, Plan], tmp_path: Path) -> Path:
    shutil.copytree(agreed[0], tmp_path / "client-01")
    return tmp_path / "client-01"


@pytest.fixture
def on_15_march(monkeypatch: pytest.MonkeyPatch) -> None:
    class Clock(date):
        @classmethod
        def today(cls) -> date:
            return date(2026, 3, 15)

    monkeypatch.setattr("miner.cli.note.date", Clock)


def note(folder: Path, *words: str) -> Result:
    return CliRunner().invoke(commands, ["note", str(folder), *words])


def said(result: Result, code: int = 0) -> str:
    assert result.exit_code == code, result.output
    return " ".join((result.stderr if code else result.stdout).split())


def days(folder: Path, plan: Plan) -> dict[str, str]:
    return {day[-2:]: answer for day, answer in read_ticks(folder).of(plan.plan).items()}


@pytest.mark.usefixtures("on_15_march")
def test_a_note_without_words_lists_ticks_and_the_clinician(
    client: Path, agreed: tuple[Path, Plan]
) -> None:
    plan = agreed[1].plan
    said(note(client, "--ticks", "2026-03-10 no, 2026-03-12 forgot, 2026-03-11 yes"))
    steps.note_clinician(client, informed=date(2026, 3, 1), now=BEFORE)
    told = said(note(client))
    assert f"Plan {plan}, 10 to 12 Mar 2026: 1 day yes, 1 no (10 Mar) and 1 forgot (12 Mar)" in told
    assert "The client was referred on 1 March 2026." in told
    facts = json.loads(note(client, "--format", "json").stdout)
    assert facts["informed"] == "2026-03-01"
    (ticks,) = facts["ticks"]
    assert (ticks["plan"], ticks["no"], ticks["forgot"]) == (plan, ["2026-03-10"], ["2026-03-12"])


def test_all_as_planned_leaves_what_is_ticked(agreed, client, on_15_march):
    plan = agreed[1]
    assert "12 Mar ticked no. 5 days are not ticked" in said(
        note(client, "--ticks", "2026-03-12 no")
    )
    told = said(note(client, "--ticks", "all as planned"))
    assert f"Test {plan.plan}: 5 days ticked as planned, 1 already there." in told
    yes = dict.fromkeys(("09", "10", "11", "13", "14"), "yes")
    assert days(client, plan) == yes | {"12": "no"}
    before = (client / NOTED).read_bytes()
    assert "nothing new to tick, 6 already there" in said(note(client, "--ticks", "all as planned"))
    assert (client / NOTED).read_bytes() == before


def test_days_that_are_named_differ_from_the_rest(agreed, client, on_15_march):
    words = "2026-03-10 to 2026-03-11 forgot, All As Planned,2026-03-13 no"
    told = said(note(client, "--ticks", words))
    assert "3 days ticked as planned" in told
    assert "2 days ticked forgot" in told
    assert days(client, agreed[1]) == {
        "09": "yes",
        "10": "forgot",
        "11": "forgot",
        "12": "yes",
        "13": "no",
        "14": "yes",
    }


def test_what_was_noted_last_is_taken_back_first(agreed, client, on_15_march):
    said(note(client, "--ticks", "2026-03-10 no"))
    said(note(client, "--ticks", "2026-03-10 yes, 2026-03-11 yes"))
    later = datetime.now(UTC) + timedelta(minutes=1)
    steps.write_note(client, "day", date(2026, 3, 10), "a long day", now=later)
    assert "The note is taken back" in said(note(client, "--undo"))
    assert "the last 2 ticks noted are taken back" in said(note(client, "--undo"))
    assert days(client, agreed[1]) == {"10": "no"}
    assert "the last 1 tick noted is taken back" in said(note(client, "--undo"))
    assert days(client, agreed[1]) == {}
    assert "nothing to take back" in said(note(client, "--undo"), 2)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("as planned", "ticks 'as planned' are not understood"),
        ("2026-03-32 yes", "'2026-03-32 yes' are not understood"),
        ("2026-03-09 until 2026-03-10 yes", "are not understood"),
        ("yes", "'yes' are not understood"),
        ("2026-03-10 maybe", "'maybe' is not an answer"),
        ("2026-03-08 yes", "2026-03-08 is not a day of the test"),
        ("2026-03-20 yes", "2026-03-20 is not over yet. Expected a day up to 2026-03-15"),
        (
            "2026-03-12 to 2026-03-10 yes",
            "The days 2026-03-12 to 2026-03-10 are the wrong way round",
        ),
        ("2026-03-10 yes, 2026-03-09 to 2026-03-11 no", "2026-03-10 is named twice"),
    ],
)
def test_what_cannot_be_ticked_is_told_and_nothing_is_written(client, on_15_march, words, found):
    told = said(note(client, "--ticks", words), 2)
    assert found in told
    assert "Expected " in told
    assert not (client / NOTED).exists()


def test_a_file_of_the_client_s_is_not_contradicted(agreed, client, on_15_march):
    (client / "ticks.csv").write_text(f"date,plan,done\n2026-03-10,{agreed[1].plan},yes\n")
    told = said(note(client, "--ticks", "2026-03-10 no"), 2)
    assert "ticks.csv, row 2: 2026-03-10 is ticked yes in this row." in told
    assert "5 days ticked as planned, 1 already there" in said(
        note(client, "--ticks", "all as planned")
    )


def test_without_a_running_test_there_is_nothing_to_tick(client, on_15_march):
    assert "--plan needs --ticks" in said(note(client, "--plan", "abc"), 2)
    told = said(note(client, "--ticks", "all as planned", "--plan", "abc"), 2)
    assert "There is no test 'abc'" in told
    (client / "ledger.jsonl").unlink()
    (client / ".ledger.last").unlink(missing_ok=True)
    assert "No test is running" in said(note(client, "--ticks", "all as planned"), 2)


def test_of_two_running_tests_one_is_named(agreed, client, on_15_march):
    first, second = agreed[1].plan, agree(client, IDS[1], date(2026, 4, 10)).plan
    told = said(note(client, "--ticks", "all as planned"), 2)
    assert "2 tests are running" in told
    assert first in told
    assert second in told
    assert "--plan NAME" in told
    assert "is not a day of the test" in said(
        note(client, "--ticks", "2026-03-09 no", "--plan", second), 2
    )
    said(note(client, "--ticks", "2026-03-09 no, all as planned", "--plan", first))
    assert days(client, agreed[1])["09"] == "no"
    assert read_ticks(client).of(second) == {}


def test_a_file_of_before_is_read_and_goes_on(agreed, client):
    name = agreed[1].plan
    (client / NOTED).write_text(f"date,plan,answer\n2026-03-09,{name},yes\n")
    steps.tick(client, Ticking(spans=(("2026-03-10", "2026-03-10", "no"),)), OVER)
    assert days(client, agreed[1]) == {"09": "yes", "10": "no"}
    assert [one.noted == "" for one in read_noted(client)] == [True, False]
    steps.take_back_ticks(client)
    with pytest.raises(MinerError, match="nothing to take back"):
        steps.take_back_ticks(client)
    assert days(client, agreed[1]) == {"09": "yes"}


def test_an_answer_taken_back_is_no_tick_and_no_finding(agreed, client):
    for answer in ("yes", "", "forgot"):
        steps.tick(client, Ticking(spans=(("2026-03-10", "2026-03-10", answer),)), OVER)
        assert days(client, agreed[1]) == ({"10": answer} if answer else {})
        assert read_ticks(client).findings == ()


def test_the_clock_and_the_records_say_what_is_over(client):
    assert steps.days_over(date(2026, 3, 15)) == OVER
    records = steps.records_by_day(steps.read_client(client), steps.load_rules(None, client))
    last = records.days.names[-1]  # its readings stop in the morning
    over = steps.days_over(date(2026, 1, 1), records)
    assert over.told == last
    assert over.whole < last


def test_days_without_a_tick_are_told_where_the_test_is_followed(agreed, client):
    rows = [
        f"2026-03-{day:02d}T{hour:02d}:{minute:02d},{90 + (7 * hour + minute * day) % 31}"
        for day in range(8, 13)
        for hour in range(24)
        for minute in range(0, 60, 15)
    ]
    (client / "glucose-march.csv").write_text("\n".join(["time,glucose_mg_dl", *rows, ""]))
    steps.tick(client, Ticking(spans=(("2026-03-10", "2026-03-10", "no"),)), OVER)
    read = steps.read_client(client)
    found = steps.follow(read)
    assert [(one.plan, one.days) for one in found.not_ticked] == [
        (agreed[1].plan, ("2026-03-09", "2026-03-11", "2026-03-12"))
    ]
    assert steps.week(read).not_ticked == found.not_ticked
    assert steps.week(read, last="2026-03-09").not_ticked[0].days == ("2026-03-09",)
    text = said(CliRunner().invoke(commands, ["follow", str(client)]))
    assert "3 days are not ticked yet in the test of short nights and waking glucose." in text
    assert f'miner note {client} --ticks "all as planned"' in text

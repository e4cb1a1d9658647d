"""The invented practice at work: each client is in another state, whatever day it is looked at."""

from __future__ import annotations

import json
import shlex
from datetime import date, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from miner import rulebook, steps
from miner.cli.group import miner as commands
from miner.core.results import Evidence, Ranking
from miner.followup.planning import Wish

SHORT_SLEEP = ("short_sleep",), "wake_glucose"
DAYS = [
    first + timedelta(days=k) for first in (date(2026, 3, 26), date(2026, 10, 24)) for k in range(7)
]
"""Each weekday twice; the clock of Lisbon changes on 29 March and on 25 October."""
SLOW = [pytest.param(day, marks=pytest.mark.prove) for day in DAYS if day != date(2026, 10, 29)]

STATES = {
    "client-01": "clear",
    "client-02": "none_clear",
    "client-03": "too_few",
    "client-04": "refer_first",
    "client-05": "not_told_apart",
    "client-06": "agreed",
    "client-07": "no_records",
    "client-08": "due",
    "client-09": "tick_missing",
    "client-10": "tested",
    "client-11": "clear_informed",
    "client-12": "no_numbers",
}


@pytest.fixture(scope="module", params=[date(2026, 10, 29), *SLOW], ids=str)
def practice(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, date]:
    """The practice, looked at on one day, and that day."""
    folder = tmp_path_factory.mktemp("demo")
    ready = steps.write_demo(folder, request.param)
    steps.rank(steps.read_client(ready), remember=True)
    return folder, request.param


Demo = tuple[Path, date]


def ranked(practice: Demo, code: str) -> Ranking:
    return steps.rank(steps.read_client(practice[0] / code))


def levels(ranking: Ranking) -> dict[tuple[tuple[str, ...], str], Evidence]:
    return {(item.factors, item.outcome): item.evidence for item in ranking.hypotheses}


def clear(ranking: Ranking) -> list[tuple[tuple[str, ...], str]]:
    return [what for what, level in levels(ranking).items() if level is Evidence.CLEAR]


def classes(ranking: Ranking) -> set[str]:
    return {caution.class_ for caution in ranking.cautions} - {""}


def test_each_client_is_in_the_state_that_is_meant(practice: Demo) -> None:
    found = steps.practice_states(*practice)
    assert {Path(one.folder).name: one.state for one in found} == STATES
    by_state = {one.state: one for one in found}
    assert by_state["tick_missing"].count == 1
    assert by_state["due"].count == 1
    assert by_state["no_records"].count == 3


def test_the_records_end_on_the_day_before(practice: Demo) -> None:
    folder, today = practice
    for code in STATES.keys() - {"client-07"}:
        last = steps.check(steps.read_client(folder / code)).last_day
        assert last == (today - timedelta(days=1)).isoformat(), code


def test_the_client_ready_for_a_session_has_one_clear_pattern_and_no_caution(
    practice: Demo,
) -> None:
    found = ranked(practice, "client-01")
    assert clear(found) == [SHORT_SLEEP]
    assert classes(found) == set()


def test_nothing_is_clear_where_nothing_is_true_or_habits_came_together(practice: Demo) -> None:
    nothing, together = (ranked(practice, code) for code in ("client-02", "client-05"))
    assert clear(nothing) == clear(together) == []
    level = levels(together)
    assert level[("late_dinner",), "overnight_mean"] is Evidence.CANNOT_TELL
    assert level[("tag:wine",), "overnight_mean"] is Evidence.CANNOT_TELL


def test_what_is_due_held_up_and_what_was_tested_changed(practice: Demo) -> None:
    folder, _ = practice
    due = steps.read_client(folder / "client-08")
    assert classes(steps.rank(due)) == set()
    assert steps.follow(due).kept[0].status == "waiting"
    (kept,) = steps.follow(steps.read_client(folder / "client-10")).kept
    assert kept.test is not None
    assert kept.test.status == "changed"
    assert classes(ranked(practice, "client-10")) == set()


def test_a_test_is_half_way(practice: Demo) -> None:
    (kept,) = steps.follow(steps.read_client(practice[0] / "client-09")).kept
    assert kept.test is not None
    assert kept.test.status is None
    assert 0.3 * kept.test.planned_pairs <= kept.test.pairs_used <= 0.7 * kept.test.planned_pairs
    assert classes(ranked(practice, "client-09")) == set()


def test_cautions_are_as_far_as_is_meant(practice: Demo) -> None:
    referred, informed, insulin, no_numbers = (
        ranked(practice, code) for code in ("client-04", "client-11", "client-06", "client-12")
    )
    assert "refer" in classes(referred)
    assert all(one.comes_first for one in referred.cautions if one.class_)
    assert clear(informed)[0] == SHORT_SLEEP
    assert classes(informed) == {"refer"}
    assert not any(one.comes_first or one.waiting for one in informed.cautions)
    assert classes(insulin) == {"agree"}
    assert {topic for one in insulin.cautions for topic, _ in one.waiting} == {"meals"}
    assert classes(no_numbers) == {"stop"}
    assert clear(no_numbers)[0] == SHORT_SLEEP
    assert not any(one.comes_first for one in no_numbers.cautions)


def test_the_truth_of_a_client_whose_records_go_on_is_the_whole_truth(practice: Demo) -> None:
    folder, _ = practice
    told = json.loads((folder / "truth.json").read_text("utf-8"))["clients"]
    assert set(told) == set(STATES)
    for code in ("client-08", "client-09", "client-10"):
        short = told[code]["happened"]["short_sleep"]
        frame = steps.day_table(folder / code)
        asleep = frame["short_sleep"].dropna()
        assert len(asleep) > 50
        agree = [(day in short) == bool(yes) for day, yes in asleep.items()]
        assert sum(agree) / len(agree) > 0.95, code


def test_the_due_pattern_holds_up_when_it_is_read(practice: Demo) -> None:
    (kept,) = steps.follow(steps.read_client(practice[0] / "client-08"), remember=True).kept
    assert kept.status == "held_up"


def test_the_informed_client_has_a_test_that_can_be_done(practice: Demo) -> None:
    folder, today = practice
    client = steps.read_client(folder / "client-11")
    found = next(one for one in steps.practice_states(folder, today, ["client-11"]))
    offered = steps.plan(client, found.of, Wish(today), preview=True).lengths
    assert offered is not None
    assert offered.default in ("short", "middle")


def test_no_food_is_clear_where_insulin_is_taken(practice: Demo) -> None:
    rules = rulebook.load()
    for what, level in levels(ranked(practice, "client-06")).items():
        if level is Evidence.CLEAR:
            assert not any(rules.factor(name).food for name in what[0]), what


def test_every_next_step_is_a_command_that_works(
    practice: Demo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, today = practice

    class OnThatDay(date):
        @classmethod
        def today(cls) -> date:
            return today

    monkeypatch.setattr("miner.steps.clinician.date", OnThatDay)
    monkeypatch.chdir(tmp_path)
    for one in steps.practice_states(folder, today):
        words = shlex.split(str(one.next(today.isoformat())))
        result = CliRunner().invoke(commands, words[1:])
        assert result.exit_code == 0, (words, result.output)
        assert result.output

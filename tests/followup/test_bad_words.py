"""What a newcomer may get wrong with keep, result, ticks and the ledger: told, never a fault."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from click.testing import CliRunner

from miner import ledger, rulebook, steps
from miner.cli.group import miner as commands
from miner.core import resources

AT = datetime(2026, 3, 1, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """A client of six weeks with one plan."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("miner.steps.checking.cautions", lambda *_: ())
        folder = tmp_path_factory.mktemp("planned") / "client"
        resources.invented().effect_client(folder, 3, "short_sleep", 14.0, days=42)
        client, rules = steps.read_client(folder), rulebook.load()
        ranking = steps.rank(client, rules, now=AT, remember=True)
        found = next(
            item for item in ranking.hypotheses
            if item.factors == ("short_sleep",) and item.outcome == "wake_glucose"
        )  # fmt: skip
        wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
        plan = steps.plan(client, found.id, wish, rules, now=AT)
    other = next(i.id for i in ranking.hypotheses if i.difference and i.id != found.id)
    return folder, plan, found.id, other


def run(*words):
    result = CliRunner().invoke(commands, [str(word) for word in words])
    assert result.exit_code in (0, 2), result.output
    assert "Traceback" not in result.output
    return result, " ".join((result.stdout + result.stderr).split())


def test_options_that_do_not_go_together_and_a_note_without_end(planned):
    folder, _, id_, other = planned
    before = ledger.read(folder).events
    for words, told in (
        ((other[:-1], "--as", "watch"), f"Did you mean '{other}'?"),
        ((id_, "--drop", "--as", "watch"), "--drop cannot be given together with another option"),
        ((id_, "--drop", "--note", "why"), "--drop cannot be given together with another option"),
        ((other, "--as", "watch", "--note", "x" * 1001), "The note has 1001 characters"),
    ):
        result, text = run("keep", folder, *words)
        assert (result.exit_code, result.stdout) == (2, "")
        assert told in text
        assert "Expected " in text
    events = ledger.read(folder).events
    assert not [e for e in events[len(before) :] if e.event in ("kept", "dropped")]


def test_ticks_that_do_not_fit_are_told_with_what_was_expected(planned):
    folder, plan, _, _ = planned
    path = folder / "ticks.csv"
    first = plan.periods[0].first
    last = date.fromisoformat(plan.periods[-1].last)
    late = last + timedelta(days=1)
    path.write_text(
        f"date,plan,done\n{first},{plan.plan},change\n{first},zzz,yes\n{late},{plan.plan},yes\n"
        f"{last},{plan.plan},yes\n",
        encoding="utf-8",
    )
    _, text = run("result", folder, plan.plan)
    assert (
        f"ticks.csv, row 2: this tick cannot be used ('{first}', '{plan.plan}', 'change')" in text
    )
    assert "Expected a date like 2026-03-01, the name of a plan, and yes, no or forgot." in text
    span = f"days of the plan, from {first} to {last}"
    outside = f"ticks.csv, row 4: 1 tick of plan {plan.plan} on a day that is not in it ({late})"
    assert f"{outside}. Expected {span}." in text
    unknown = "ticks.csv, row 3: 1 tick of a plan that does not exist ('zzz')"
    assert f"{unknown}. Expected one of {plan.plan}." in text
    with path.open("a", encoding="utf-8") as file:
        file.write(f"{last},{plan.plan},no\n")
    report = json.loads(run("check", folder, "--format", "json")[0].stdout)
    told = [(i["row"], i["severity"]) for i in report["findings"] if i["file"] == "ticks.csv"]
    assert sorted(told) == [(2, "left_out"), (3, "question"), (4, "left_out"), (6, "question")]
    _, text = run("check", folder, "--detail")
    for words in (outside, unknown, f"row 6: {last} is ticked both yes and no", "this tick cannot"):
        assert words in text
    path.write_text(f"date;plan;done\n{first};{plan.plan};yes\n", encoding="utf-8")
    result, text = run("result", folder, plan.plan)
    assert (result.exit_code, "with commas between them" in text) == (2, True)
    result, text = run("check", folder, "--detail")
    assert (result.exit_code, "with commas between them" in text) == (0, True)
    path.unlink()


@pytest.mark.parametrize(
    "data",
    [b"", b"[]\n", b"\x00\xff" * 100, b'{"schema":1,"event":"verdict","status":"changed"}\n'],
    ids=["empty", "a list", "bytes", "a verdict by hand"],
)
def test_a_ledger_that_is_none_gives_no_verdict(planned, data):
    folder, plan, _, _ = planned
    path = folder / ledger.NAME
    whole = path.read_bytes()
    for written in (data, whole + data):
        path.write_bytes(written)
        for command in ("follow", "history"):
            _, text = run(command, folder)
            assert ("the last line is not finished" in text) == bool(data)
        told, _ = run("follow", folder, "--format", "json")
        assert {item["status"] for item in json.loads(told.stdout)["kept"]} <= {None}
    result, text = run("result", folder, plan.plan)
    assert (result.exit_code, "not before" in text) == (0, True)
    path.write_bytes(whole)


def test_ticks_that_fit_are_not_spoken_of(planned):
    folder, plan, _, _ = planned
    days = sorted({period.first for period in plan.periods})
    said = ("yes", "no", "")
    text = "".join(f"{day},{plan.plan},{said[at % 3]}\n" for at, day in enumerate(days))
    (folder / "ticks.csv").write_text(f"date,plan,done\n{text}", encoding="utf-8")
    found = steps.check(steps.read_client(folder)).findings
    told = [(str(item.severity), item.count) for item in found if item.file == "ticks.csv"]
    assert told == [("note", len(days) // 3)]
    (folder / "ticks.csv").unlink()

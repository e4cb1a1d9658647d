"""Questions, what stands behind an answer, and the error rate, over the real steps."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from miner import steps
from miner.core import resources
from miner.words.wording import dated

pytestmark = pytest.mark.usefixtures("derived_once")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The records of one client of six weeks, written once."""
    folder = tmp_path_factory.mktemp("practice") / "client-01"
    invented = resources.invented()
    (one,) = (one for one in invented.demo_scenarios() if one.code == folder.name)
    invented.write_client(folder, one)
    return folder


@pytest.fixture
def client(written: Path, tmp_path: Path) -> str:
    """A copy of the records with no ledger yet."""
    return str(shutil.copytree(written, tmp_path / "client-01"))


PAIR = ["--factor", "short_sleep", "--outcome", "wake_glucose"]


def test_a_question_not_fixed_before_is_a_hint_at_most(run: Any, client: str) -> None:
    found = json.loads(run("ask", client, *PAIR, "--format", "json").stdout)
    assert found["evidence"] == "hint"
    assert (found["fixed_before"], found["fixed_on"]) == (False, None)
    assert found["p"] < 0.05
    text = run("ask", client, *PAIR).stdout
    assert text.startswith("Short nights came before higher waking glucose. A hint, no more.\n")
    assert "This question was not written down before these records" in " ".join(text.split())
    assert "You had already ranked" not in " ".join(text.split())
    story = run("history", client).stdout
    assert story.count("A pattern was looked at: a short night and waking glucose.") == 1


def test_a_question_is_written_down_before_any_record(run: Any, tmp_path: Path) -> None:
    folder = tmp_path / "client-09"
    folder.mkdir()
    result = run("ask", str(folder), *PAIR, "--fix", "--guess", "up")
    assert result.exit_code == 0
    assert result.stdout.startswith("Question 1 of client-09 was written down on ")
    told = " ".join(result.stdout.split())
    assert "You have 1 question so far. Write down three to five." in told
    again = run("ask", str(folder), *PAIR, "--fix")
    assert (again.exit_code, again.stdout) == (2, "")
    assert "is already written down" in again.stderr
    other = ["--factor", "tag:wine", "--outcome", "overnight_mean"]
    as_json = run("ask", str(folder), *other, "--fix", "--format", "json")
    found = json.loads(as_json.stdout)
    assert found["fixed_before"] is True
    assert found["fixed_on"] == found["written"]["fixed_on"] == str(datetime.now(UTC).date())
    assert found["written"]["proven"] is True
    assert len((folder / "ledger.jsonl").read_text().splitlines()) == 2


def test_a_question_fixed_on_paper_is_answered_on_later_days_alone(run: Any, client: str) -> None:
    result = run("ask", client, *PAIR, "--fix", "--fixed-on", "2026-01-19", "--format", "json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert (found["fixed_before"], found["fixed_proven"]) == (True, False)
    assert "The date is shown as you gave it, and is not proven." in found["advice"]
    assert "not fixed before" not in " ".join(found["notes"])
    assert f"Written down on {dated('2026-01-19')}, according to you." in " ".join(
        run("ask", client, *PAIR).stdout.split()
    )

    why = json.loads(run("why", client, found["id"], "--format", "json").stdout)
    used = [unit for unit in why["units"] if unit["used"]]
    counts = found["counts"]
    assert len(used) == counts["with"] + counts["without"]
    assert min(unit["unit"] for unit in used) == "2026-01-20"
    early = [unit for unit in why["units"] if unit["unit"] <= "2026-01-19"]
    assert len(early) == 8
    assert "not after 19 Jan 2026, when the question was written down" in {
        u["reason"] for u in early
    }


def test_a_date_told_after_a_ranking_is_a_hint_at_most(run: Any, client: str) -> None:
    assert run("rank", client, "--draws", "100").exit_code == 0
    result = run("ask", client, *PAIR, "--fix", "--fixed-on", "2026-01-11", "--format", "json")
    found = json.loads(result.stdout)
    assert found["fixed_before"] is False
    assert found["evidence"] == "hint"
    assert any("had already been ranked" in note for note in found["advice"])


def test_a_ledger_changed_by_hand_is_told_and_not_taken_as_proven(run: Any, client: str) -> None:
    run("ask", client, *PAIR, "--fix")
    ledger = Path(client) / "ledger.jsonl"
    ledger.write_text(ledger.read_text().replace(str(datetime.now(UTC).date()), "2026-01-11"))
    result = run("ask", client, *PAIR)
    assert result.exit_code == 0
    told = " ".join(result.stdout.split())
    assert f"Written down on {dated('2026-01-11')}, according to you." in told
    assert "ledger.jsonl, row 1: the line was changed after it was written. " in told


def test_a_ledger_of_a_newer_version_is_not_written_to(run: Any, client: str) -> None:
    ledger = Path(client) / "ledger.jsonl"
    ledger.write_text('{"schema": 99, "n": 1}\n')
    result = run("ask", client, *PAIR, "--fix")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "written by a newer miner" in result.stderr
    assert ledger.read_text() == '{"schema": 99, "n": 1}\n'


@pytest.mark.parametrize(
    ("factor", "outcome", "told"),
    [
        ("shrt_sleep", "wake_glucose", "Did you mean 'short_sleep'?"),
        ("short_sleep", "wake_glucos", "Did you mean 'wake_glucose'?"),
        ("short_sleep", "overnight_mean", "'short_sleep' "),
    ],
)
@pytest.mark.parametrize("fix", [True, False])
def test_a_question_that_cannot_be_asked_is_one_message(
    run: Any, client: str, factor: str, outcome: str, told: str, fix: bool
) -> None:
    words = ["--factor", factor, "--outcome", outcome, *(["--fix"] if fix else [])]
    result = run("ask", client, *words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert told in result.stderr
    assert result.stderr.count("\n") == 1
    assert not (Path(client) / "ledger.jsonl").exists()


def test_a_date_ahead_and_a_folder_that_is_no_client_are_refused(
    run: Any, client: str, tmp_path: Path
) -> None:
    ahead = run("ask", client, *PAIR, "--fix", "--fixed-on", "2999-01-01")
    assert (ahead.exit_code, ahead.stdout) == (2, "")
    assert "2999-01-01 is still to come" in ahead.stderr
    assert "there is no such folder" in run("ask", f"{client}x", *PAIR, "--fix").stderr
    (tmp_path / "practice.toml").write_text("")
    assert "this is the folder of a practice" in run("ask", str(tmp_path), *PAIR, "--fix").stderr
    assert not (tmp_path / "ledger.jsonl").exists()


def test_why_counts_as_the_ranking_does(run: Any, client: str) -> None:
    read = steps.read_client(client)
    ranking = steps.rank(read, draws=100, remember=False)
    shown = [item for item in ranking.hypotheses if item.evidence in ("clear", "hint")]
    assert {len(item.factors) for item in ranking.hypotheses} >= {1}
    for item in [*shown, *ranking.hypotheses[:: len(ranking.hypotheses) // 8]]:
        units = [unit for unit in steps.why(read, item.id, remember=True).units if unit.used]
        counts = item.counts
        found = [(unit.with_factor, unit.high == 1) for unit in units]
        assert sum(with_ == 1 for with_, _ in found) == counts.with_
        assert sum(with_ == 0 for with_, _ in found) == counts.without
        assert found.count((1.0, True)) == counts.with_high
        assert found.count((0.0, True)) == counts.without_high


def test_why_names_the_very_line_of_each_value(run: Any, client: str) -> None:
    id_ = json.loads(run("ask", client, *PAIR, "--format", "json").stdout)["id"]
    rows = list(csv.DictReader(StringIO(run("why", client, id_, "--format", "csv").stdout)))
    sleep = (Path(client) / "sleep.csv").read_text().splitlines()
    header = sleep[0].split(",")
    used = [row for row in rows if row["used"] == "1"]
    assert len(used) > 30
    for row in used:
        file, _, line = row["short_sleep_from"].partition(":")
        assert file == "sleep.csv"
        cells = dict(zip(header, sleep[int(line) - 1].split(","), strict=True))
        assert float(row["short_sleep_measure"]) == pytest.approx(int(cells["asleep_min"]) / 60)
        assert cells["end"][:10] == row["unit"]
        assert row["short_sleep"] == ("1" if int(cells["asleep_min"]) < 360 else "0")
    text = run("why", client, id_.upper()).stdout
    assert text.startswith(f"Pattern {id_}: short nights ")
    assert max(map(len, text.splitlines())) <= 80
    text = run("why", client, id_, "--detail").stdout
    assert f"Counted ({len(used)})" in text
    assert max(map(len, text.splitlines())) <= 100


def test_an_id_that_is_not_known_is_bad_input(run: Any, client: str) -> None:
    result = run("why", client, "00000000")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "There is no pattern '00000000' in these records" in result.stderr


def test_too_few_days_exit_with_three(run: Any, client: str) -> None:
    glucose = Path(client) / "glucose.csv"
    lines = glucose.read_text().splitlines(keepends=True)
    glucose.write_text("".join(line for line in lines if line < "2026-01-24" or "time" in line))
    for words in (("ask", client, *PAIR), ("error-rate", client)):
        result = run(*words)
        assert result.exit_code == 3
        assert result.stdout
    found = json.loads(run("error-rate", client, "--format", "json").stdout)
    assert (found["worlds"], found["any_claim_rate"], found["found_rate_at"]) == (0, None, [])


def test_the_error_rate_is_the_contracts_and_does_not_depend_on_workers(
    run: Any, client: str
) -> None:
    words = ["error-rate", client, "--worlds", "4", "--draws", "100", "--format", "json"]
    result = run(*words, "--workers", "1")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert {"worlds", "draws", "any_claim_rate", "any_claim_interval", "nominal"} <= found.keys()
    assert (found["worlds"], found["draws"], found["finished"]) == (4, 100, True)
    assert all({"shift", "rate"} <= item.keys() for item in found["found_rate_at"])
    assert len(found["found_rate_at"]) == 4
    assert json.loads(run(*words, "--workers", "2").stdout) == found


def test_what_is_finished_is_printed_when_stopped(
    run: Any, client: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from miner.cli import error_rate as module

    stops = iter([False, True])

    def report(step: str, share: float) -> None:
        if step == "Simulating months" and next(stops):
            raise KeyboardInterrupt

    class Waiting:
        def __init__(self, what: str) -> None:
            self.what = what

        def __enter__(self) -> Any:
            return report

        def __exit__(self, *rest: object) -> None:
            return

    monkeypatch.setattr(module, "progress", Waiting)
    words = ["--worlds", "30", "--draws", "100", "--workers", "1"]
    result = run("error-rate", client, *words)
    assert result.exit_code == 130
    assert result.stdout.startswith("0 of 20 records like this one")
    assert "stopped before it was finished" in " ".join(result.stdout.split())
    assert result.stderr == "Stopped before it was finished.\n"

    stops = iter([True])
    monkeypatch.setattr("miner.hypotheses.error_rate._batch", _stopped)
    nothing = run("error-rate", client, *words)
    assert (nothing.exit_code, nothing.stdout) == (130, "")


def _stopped(*_: object) -> None:
    raise KeyboardInterrupt


@pytest.mark.parametrize(
    "words",
    [
        ("ask", *PAIR),
        ("why", "4c28aa7c"),
        ("meals", "--compare", "walk_after"),
        ("follow",),
        ("rank", "--draws", "100"),
    ],
)
def test_cautions_come_before_anything_said_of_habits(
    run: Any, client: str, words: tuple[str, ...]
) -> None:
    settings = Path(client) / "client.toml"
    told = settings.read_text(encoding="utf-8")
    assert 'insulin = "no"' in told
    settings.write_text(told.replace('insulin = "no"', 'insulin = "yes"'), encoding="utf-8")
    shown = run(words[0], client, *words[1:])
    assert shown.exit_code == 0, shown.output
    caution = "INSULIN.\n  ! Work with the treating clinician."
    before, found, _ = shown.stdout.partition(caution)
    assert found
    if words[0] == "rank":  # whose records these are, and what is still to ask
        assert before.startswith("client-01, 12 Jan to 23 Feb 2026: 41 of 43 days could be used.")
    assert "high" not in before
    assert words[0] == "rank" or not before


def test_a_shape_is_asked_for_and_written_down(run: Any, client: str) -> None:
    cut, dose = (
        json.loads(run("ask", client, *PAIR, "--shape", shape, "--format", "json").stdout)
        for shape in ("cut", "dose")
    )
    assert (cut["shape"], dose["shape"]) == ("cut", "dose")
    assert cut["id"] == dose["id"]
    assert cut["per"] is None
    assert (dose["per"]["amount"], dose["per"]["unit"], dose["per"]["towards"]) == (1, "h", "less")
    assert "Each hour less sleep" in dose["sentence"]
    assert cut["notes"] == list(dict.fromkeys(cut["notes"]))
    assert run("ask", client, *PAIR, "--fix", "--shape", "cut").exit_code == 0
    (question,) = steps.fixed_questions(Path(client))
    assert question.shape == "cut"


def test_a_dose_of_what_is_not_measured_is_refused(run: Any, client: str) -> None:
    asked = ["--factor", "long_sleep", "--outcome", "wake_glucose", "--shape", "dose"]
    for more in ([], ["--fix"]):
        result = run("ask", client, *asked, *more)
        assert (result.exit_code, result.stdout) == (2, "")
        assert "'long_sleep' cannot be asked as an amount" in result.stderr


def test_the_whole_day_is_asked_about(run: Any, client: str) -> None:
    asked = ["--factor", "late_dinner", "--outcome", "whole_day"]
    found = json.loads(run("ask", client, *asked, "--format", "json").stdout)
    assert (found["outcome"], found["unit"], found["relation"]) == ("whole_day", "SD", "same_day")
    assert found["could_run_backwards"]
    assert run("ask", client, *asked, "--fix", "--guess", "up").exit_code == 0

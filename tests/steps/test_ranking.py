"""The main job with its bookkeeping, on an invented client written to a folder."""

from __future__ import annotations

import json
import os
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from miner import ledger, steps
from miner.core import resources
from miner.core.messages import MinerError
from miner.core.results import Evidence

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def ranked(folder: Path, **choices: object):
    return steps.rank(steps.read_client(folder), draws=499, now=NOW, **choices, remember=True)


# What is planted as a dose speaks as a dose, what is planted as a step speaks as a cut.
@pytest.mark.parametrize(("code", "shape"), [("client-01", "cut"), ("client-04", "dose")])
def test_clients_of_the_demo_show_the_shape_that_is_true_of_them(
    tmp_path: Path, code: str, shape: str
) -> None:
    invented = resources.invented()
    (scenario,) = (one for one in invented.demo_scenarios() if one.code == code)
    (effect, *_) = invented.write_client(tmp_path / code, scenario)["effects"]
    found = steps.rank(
        steps.read_client(tmp_path / code), draws=2000, together=False, remember=True
    )
    item = next(item for item in found.hypotheses if item.evidence is Evidence.CLEAR)
    assert (effect["factor"], effect["shape"]) == ("short_sleep", shape)
    assert (item.factors, item.outcome) == (("short_sleep",), "wake_glucose")
    assert item.shape == shape
    assert (
        "Each hour less sleep came before higher waking glucose, by about" in item.sentence
    ) == (shape == "dose")
    if item.per:
        assert item.interval[0] < effect["size"] < item.interval[1]


def test_the_same_records_give_the_same_answer_to_the_byte(folder: Path) -> None:
    first, again = (json.dumps(ranked(folder).to_dict()) for _ in range(2))
    assert first == again


def test_nothing_in_the_folder_is_changed_but_the_ledger(folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    ranked(folder)
    after = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) <= {ledger.NAME, ".ledger.lock", ".ledger.last"}


def test_another_seed_is_another_ranking_of_these_records_and_is_counted(folder: Path) -> None:
    assert ranked(folder).rankings_of_these_records == 1
    assert ranked(folder, seed=1).rankings_of_these_records == 2
    assert ranked(folder, first="2026-01-20").rankings_of_these_records == 3
    assert ranked(folder, seed=1).rankings_of_these_records == 3


def test_a_filter_hides_and_never_uncounts(folder: Path) -> None:
    whole, part = ranked(folder), ranked(folder, outcome="overnight_mean")
    assert part.questions_asked == whole.questions_asked
    assert [item.to_dict() for item in part.hypotheses] == [
        item.to_dict() for item in whole.hypotheses if item.outcome == "overnight_mean"
    ]


def test_days_left_out_after_a_ranking_are_told_with_the_answer_beside(folder: Path) -> None:
    ranking = ranked(folder)
    day = ranking.from_day
    with (folder / "client.toml").open("a") as file:
        file.write(f'\n[[left_out]]\ndate = {day}\nreason = "a feast"\nentered = 2026-06-01\n')
    later = ranked(folder)
    assert later.usable_units == ranking.usable_units - 1
    told = [note for note in map(str, later.notes) if "Left out after a first ranking" in note]
    assert len(told) == 1
    assert str(day) in told[0]


def test_the_other_unit_is_a_second_look_and_nothing_searched_is_clear(folder: Path) -> None:
    found = ranked(folder, unit="meal")
    assert next(map(str, found.notes)).startswith("Second look: this practice ranks days first")
    assert all(item.evidence is not Evidence.CLEAR for item in found.hypotheses)


def test_a_question_not_fixed_before_is_a_hint_at_most(folder: Path) -> None:
    client = steps.read_client(folder)
    found = steps.ask(client, "late_dinner", "overnight_mean", remember=True)
    assert found.p is not None
    assert found.p < 0.001
    assert found.evidence is Evidence.HINT
    assert found.fixed_before is False
    assert "steps.had_looked" not in [note.code for note in found.notes]


def test_asking_what_a_ranking_suggested_is_no_way_round_its_interval_and_luck(
    folder: Path,
) -> None:
    ranking = steps.rank(steps.read_client(folder), now=NOW, remember=True)
    found = steps.ask(steps.read_client(folder), "late_dinner", "overnight_mean", remember=True)
    mine = next(item for item in ranking.hypotheses if item.id == found.id)
    assert (found.interval, found.p_adjusted) == (mine.interval, mine.p_adjusted)
    assert found.luck_sentence == mine.luck_sentence
    assert "steps.had_looked" in [note.code for note in found.notes]


def test_the_span_told_is_that_of_the_days_used(folder: Path) -> None:
    found = ranked(folder, first="2026-01-15")
    assert str(found.from_day) >= "2026-01-15"


def test_a_question_fixed_on_paper_before_the_records_is_answered_first(folder: Path) -> None:
    client = steps.read_client(folder)
    steps.fix_question(client, "late_dinner", "overnight_mean", fixed_on=date(2026, 1, 1), now=NOW)
    first = ranked(folder).hypotheses[0]
    assert (first.family, first.factors, first.fixed_before) == ("fixed", ("late_dinner",), True)
    assert first.evidence is Evidence.CLEAR


def test_a_date_told_after_the_records_were_ranked_counts_as_having_looked(folder: Path) -> None:
    ranked(folder)
    client = steps.read_client(folder)
    steps.fix_question(client, "late_dinner", "overnight_mean", fixed_on=date(2026, 1, 1), now=NOW)
    found = steps.ask(steps.read_client(folder), "late_dinner", "overnight_mean", remember=True)
    assert found.evidence is Evidence.HINT
    assert found.fixed_before is False


def test_a_question_fixed_now_counts_no_day_that_is_already_there(folder: Path) -> None:
    client = steps.read_client(folder)
    steps.fix_question(client, "late_dinner", "overnight_mean", now=NOW)
    found = steps.ask(steps.read_client(folder), "late_dinner", "overnight_mean", remember=True)
    assert (found.counts.known, found.evidence) == (0, Evidence.CANNOT_TELL)


@pytest.mark.parametrize(
    ("factor", "outcome", "words"),
    [
        ("late_diner", "overnight_mean", "late_dinner"),
        ("late_dinner", "overnight", "no glucose measure"),
        ("short_sleep", "overnight_mean", "neither comes before .* nor goes with it"),
    ],
)
def test_what_cannot_be_asked_is_told(folder: Path, factor: str, outcome: str, words: str) -> None:
    with pytest.raises(MinerError, match=words):
        steps.fix_question(steps.read_client(folder), factor, outcome, now=NOW)


def test_a_ledger_edited_by_hand_is_told_and_the_records_ranked_all_the_same(folder: Path) -> None:
    ranked(folder)
    path = folder / ledger.NAME
    path.write_text(
        path.read_text().replace('"seed":0', '"seed":7').replace('"seed": 0', '"seed": 7')
    )
    found = ranked(folder)
    assert found.status == "ranked"
    assert any("ledger.jsonl, row 1" in note for note in map(str, found.notes))


@pytest.mark.skipif(os.name != "posix", reason="permissions are those of POSIX")
def test_a_folder_that_cannot_be_written_is_told_and_ranked(folder: Path, monkeypatch) -> None:
    def refuse(*args: object, **kwargs: object) -> None:
        raise ledger.LedgerUnwritable("ledger.busy")

    monkeypatch.setattr(ledger, "append", refuse)
    found = ranked(folder)
    assert found.status == "ranked"
    assert any("could not be saved in the ledger" in note for note in map(str, found.notes))


def test_where_no_habit_was_recorded_nothing_was_asked(folder: Path) -> None:
    for path in folder.iterdir():
        if path.name not in ("glucose.csv", "client.toml"):
            path.unlink()
    found = ranked(folder)
    assert (found.questions_asked, found.status) == (0, "ranked")
    assert found.verdict == "Nothing could be checked: no habit is known on enough days."


@pytest.mark.parametrize("names", [(), ("notes.txt",), ("guardrail.toml",)])
def test_a_folder_of_rules_that_holds_none_is_told(tmp_path: Path, names: tuple[str, ...]) -> None:
    for name in names:
        (tmp_path / name).write_text("claim_level = 0.5\n")
    with pytest.raises(MinerError, match=r"guardrails\.toml"):
        steps.load_rules(tmp_path, tmp_path / "practice" / "client-01")


def test_a_broken_last_line_that_hides_a_fixed_question_is_told(folder: Path) -> None:
    client = steps.read_client(folder)
    steps.fix_question(client, "late_dinner", "overnight_mean", now=NOW)
    path = folder / ledger.NAME
    path.write_bytes(path.read_bytes()[:-9] + b"\n")

    def told(notes: tuple[str, ...]) -> bool:
        where, what = "ledger.jsonl, row 1", "question"
        return any(where in note and what in note and "not known" in note for note in notes)

    assert told(tuple(map(str, steps.history(client).notes)))
    assert told(
        tuple(map(str, steps.ask(client, "late_dinner", "overnight_mean", remember=True).notes))
    )
    assert told(tuple(map(str, ranked(folder).notes)))
    assert told(tuple(map(str, ranked(folder).notes)))
    assert told(tuple(map(str, steps.history(client).notes)))


@pytest.mark.parametrize(
    ("zone", "hour", "day"),
    [
        ("Pacific/Auckland", 20, "2026-03-11"),
        ("America/Los_Angeles", 3, "2026-03-09"),
        ("Europe/Lisbon", 12, "2026-03-10"),
    ],
)
def test_a_question_is_fixed_on_the_date_where_the_client_lives(
    tmp_path: Path, zone: str, hour: int, day: str
) -> None:
    (tmp_path / "client.toml").write_text(f'time_zone = "{zone}"\n')
    moment = datetime(2026, 3, 10, hour, tzinfo=UTC)
    steps.fix_question(tmp_path, "late_dinner", "overnight_mean", now=moment)
    assert [item.fixed_on for item in steps.fixed_questions(tmp_path)] == [day]


def test_where_there_were_too_few_days_no_ranking_is_counted(folder: Path) -> None:
    few = ranked(folder, last="2026-01-20")
    assert (few.status, few.rankings_of_these_records) == ("too_few", 0)
    assert ranked(folder).rankings_of_these_records == 1
    assert ranked(folder, last="2026-01-20").rankings_of_these_records == 1


def test_notes_speak_in_the_words_of_the_rule_books(folder: Path) -> None:
    steps.fix_question(steps.read_client(folder), "tag:sauna", "overnight_mean", now=NOW)
    (note,) = [note for note in map(str, ranked(folder).notes) if "cannot be answered" in note]
    assert note == (
        "The question about sauna days and night glucose cannot be answered, because "
        "these records hold no such habit."
    )


def test_too_few_usable_days_point_to_what_the_check_asks(tmp_path: Path) -> None:
    home = tmp_path / "client-01"
    home.mkdir()
    for name, level in (("anna", 100), ("ben", 160)):
        rows = [f"2026-03-{2 + h // 24:02d}T{h % 24:02d}:{m:02d},{level + h % 7}"
                for h in range(72) for m in range(0, 60, 5)]  # fmt: skip
        (home / f"glucose-{name}.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]) + "\n")
    ranking = ranked(home)
    assert ranking.status == "too_few"
    (note,) = [text for text in map(str, ranking.notes) if text.startswith("Open in the check")]
    assert "glucose-anna.csv, row 2: 'glucose-anna.csv' and 'glucose-ben.csv'" in note
    assert "so these may be two people" in note
    assert "If these are two people, give each a client folder." in note

"""No free way round the guard: every look counts, whatever was changed before the next one."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from statsmodels.stats.multitest import multipletests

from miner import ledger, rulebook, steps
from miner.core import resources
from miner.core.messages import Message, MinerError
from miner.core.results import Evidence, Severity
from miner.records.write.entering import DiaryEntry
from miner.render.terminal import render
from miner.words.history import history_parts
from miner.words.sentences import evidence_of, verdict
from miner.words.wording import dated

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
BEFORE = date(2026, 1, 1)


def codes(notes: Iterable[object]) -> list[str]:
    """The codes of notes: what is said, in whatever words."""
    return [note.code for note in notes if isinstance(note, Message)]


def noted(notes: Iterable[object], code: str) -> list[str]:
    """The texts of the notes of one code."""
    return [str(note) for note in notes if isinstance(note, Message) and note.code == code]


def said(day: str) -> str:
    """A date as the texts write it."""
    return dated(day[:10])


def ranked(folder: Path, **choices: object):
    return steps.rank(
        steps.read_client(folder),
        draws=199,
        now=NOW,
        together=False,
        **{"remember": True} | choices,
    )


def asked(folder: Path, factor: str = "late_dinner", outcome: str = "overnight_mean", **choices):
    return steps.ask(
        steps.read_client(folder), factor, outcome, now=NOW, **{"remember": True} | choices
    )


def fix(folder: Path, factor: str, outcome: str, **choices: object) -> tuple[str, ...]:
    choices = {"fixed_on": BEFORE, "now": NOW} | choices
    return steps.fix_question(steps.read_client(folder), factor, outcome, **choices)


def add(folder: Path, text: str) -> None:
    with (folder / "client.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n{text}\n")


# Holm as statsmodels has it, over all questions fixed: asking one of them is no cheaper.
def test_one_fixed_question_asked_alone_is_judged_beside_the_others(folder: Path) -> None:
    pairs = [("late_dinner", "overnight_mean"), ("short_sleep", "wake_glucose"),
             ("few_steps", "day_mean")]  # fmt: skip
    for pair in pairs:
        fix(folder, *pair)
    found = [asked(folder, *pair) for pair in pairs]
    wanted = multipletests([item.p for item in found], method="holm")[1]
    assert [item.p_adjusted for item in found] == pytest.approx(list(wanted))
    in_ranking = {item.id: item.p_adjusted for item in ranked(folder).hypotheses[:3]}
    assert {item.id: item.p_adjusted for item in found} == in_ranking


def test_questions_by_day_and_by_meal_share_one_claim_level(folder: Path) -> None:
    fix(folder, "late_dinner", "overnight_mean")
    alone = asked(folder)
    fix(folder, "walk_after", "meal.rise")
    both = asked(folder)
    assert alone.p_adjusted == alone.p
    assert both.p_adjusted == pytest.approx(2 * alone.p)
    assert next(iter(ranked(folder).hypotheses)).p_adjusted == both.p_adjusted


def test_fixing_a_question_never_makes_another_stand_out(folder: Path) -> None:
    before = {item.id: item.p_adjusted for item in ranked(folder).hypotheses}
    fix(folder, "late_dinner", "overnight_mean", now=NOW)
    after = ranked(folder)
    mine = [item for item in after.hypotheses if item.outcome == "overnight_mean"
            and item.factors == ("late_dinner",)]  # fmt: skip
    assert [item.family for item in mine] == ["fixed"]
    others = {item.id: item.p_adjusted for item in after.hypotheses if item.family != "fixed"}
    assert others == {id_: p for id_, p in before.items() if id_ != mine[0].id}


def test_a_question_fixed_now_does_not_hide_what_the_search_found(folder: Path) -> None:
    fix(folder, "late_dinner", "overnight_mean", fixed_on=None)
    found = ranked(folder)
    mine = [item for item in found.hypotheses if item.factors == ("late_dinner",)
            and item.outcome == "overnight_mean"]  # fmt: skip
    assert [item.family == "fixed" for item in mine] == [True, False]
    assert mine[0].evidence is Evidence.CANNOT_TELL
    assert mine[1].difference is not None
    assert found.find(mine[0].id) is mine[1]


def test_the_days_of_what_was_found_stay_when_its_question_is_fixed(folder: Path) -> None:
    id_ = asked(folder).id
    before = steps.why(steps.read_client(folder), id_)
    fix(folder, "late_dinner", "overnight_mean", fixed_on=None)
    behind = steps.why(steps.read_client(folder), id_)
    assert behind == before
    listed = next(
        item for item in ranked(folder).hypotheses if item.difference is not None and item.id == id_
    )
    assert sum(unit.used for unit in behind.units) == listed.counts.with_ + listed.counts.without
    waits = asked(folder)
    assert (waits.difference, waits.evidence) == (None, Evidence.CANNOT_TELL)
    assert waits.withheld is not None


def test_a_question_with_days_of_its_own_shows_no_day_before_it(folder: Path) -> None:
    day = date(2026, 1, 8)
    fix(folder, "late_dinner", "overnight_mean", fixed_on=day)
    answer = asked(folder)
    behind = steps.why(steps.read_client(folder), answer.id)
    used = [unit.unit for unit in behind.units if unit.used]
    assert answer.difference is not None
    assert min(used) > day.isoformat()
    assert len(used) == answer.counts.with_ + answer.counts.without
    assert behind.difference == answer.difference


@pytest.mark.parametrize(
    "text",
    ["range = [70, 150]", 'rest_days = ["sun"]', 'primary_outcome = "wake_glucose"',
     'sensor_changes = ["2026-01-15T08:00"]', 'time_zone = "Europe/Lisbon"',
     "[synonyms]\nvino = \"wine\""],
)  # fmt: skip
def test_another_setting_is_another_ranking(folder: Path, text: str) -> None:
    assert ranked(folder).rankings_of_these_records == 1
    kept = [line for line in (folder / "client.toml").read_text().splitlines()
            if line.split(" =")[0] != text.split(" =")[0]]  # fmt: skip
    whole = "\n".join(kept)
    head, mark, tables = whole.partition("\n[")
    (folder / "client.toml").write_text(f"{head}\n{text}\n{mark}{tables}\n")
    assert ranked(folder).rankings_of_these_records == 2
    assert ranked(folder).rankings_of_these_records == 2


def test_words_that_change_no_number_are_no_other_ranking(folder: Path) -> None:
    ranked(folder)
    text = (folder / "client.toml").read_text()
    (folder / "client.toml").write_text(f"calm = true\n{text}")
    assert ranked(folder).rankings_of_these_records == 1


def test_a_byte_more_in_a_file_does_not_make_the_count_begin_again(folder: Path) -> None:
    ranked(folder)
    path = folder / "glucose.csv"
    path.write_bytes(path.read_bytes() + b"\n")
    assert ranked(folder).rankings_of_these_records == 2


def test_days_taken_out_of_the_records_after_a_ranking_are_told(folder: Path) -> None:
    first = ranked(folder)
    path = folder / "glucose.csv"
    days = sorted({line[:10] for line in path.read_text().splitlines()[1:]})[10:12]
    after = "2026-02-15"
    assert days[-1] < after
    kept = [line for line in path.read_text().splitlines() if line[:10] not in days]
    path.write_text("\n".join(kept) + "\n")
    second = ranked(folder)
    assert second.usable_units < first.usable_units
    (told,) = noted(second.notes, "wording.since.gone")
    assert all(said(day) in told for day in days)
    shorter = ranked(folder, first=after)
    assert "wording.since.gone" not in codes(shorter.notes)


def test_the_unit_ranked_first_keeps_the_claims_whatever_the_practice_says_later(
    folder: Path,
) -> None:
    ranked(folder)
    (folder.parent / "practice.toml").write_text('rank_unit = "meal"\n')
    found = ranked(folder)
    assert found.unit == "meal"
    assert next(map(str, found.notes)).startswith("Second look: days were ranked first, so nothing")
    assert all(item.evidence is not Evidence.CLEAR for item in found.hypotheses)
    again = ranked(folder, unit="day")
    assert "steps.second_look" not in codes(again.notes)


@pytest.mark.parametrize("how", ["ask", "why"])
def test_who_asked_has_looked(folder: Path, how: str) -> None:
    found = asked(folder, remember=how == "ask")
    if how == "why":
        steps.why(steps.read_client(folder), found.id, now=NOW, remember=True)
    fix(folder, "late_dinner", "overnight_mean")
    later = asked(folder)
    assert later.fixed_before is False
    assert later.evidence is Evidence.HINT
    assert [e.event for e in ledger.read(folder).events[:2]] == ["looked", "fixed"]


def test_who_previewed_a_test_has_looked_even_where_it_is_refused(folder: Path) -> None:
    # a walk is planned, a medicine or an unhelpful direction is refused: both say which way it went
    found = asked(folder, remember=False)
    wish = steps.Wish(date(2026, 6, 15))
    for _ in range(2):
        with suppress(MinerError):
            steps.plan(steps.read_client(folder), found.id, wish, preview=True, now=NOW)
    (event,) = ledger.read(folder).events
    assert (event.event, event.payload["what"], event.payload["factors"]) == (
        "looked",
        "plan",
        ["late_dinner"],
    )
    fix(folder, "late_dinner", "overnight_mean")
    assert asked(folder).evidence is Evidence.HINT


def test_the_same_look_is_written_once(folder: Path) -> None:
    for _ in range(3):
        asked(folder)
    assert len(ledger.read(folder).events) == 1


def test_a_question_whose_habit_is_defined_otherwise_now_is_a_hint_at_most(
    folder: Path, tmp_path: Path
) -> None:
    fix(folder, "late_dinner", "overnight_mean")
    assert asked(folder).evidence is Evidence.CLEAR
    rules = tmp_path / "rules"
    rules.mkdir()
    shipped = (resources.folder("rules") / "factors.toml").read_text()
    head, own, rest = shipped.partition("\n[late_dinner]\n")
    (rules / "factors.toml").write_text(head + own + rest.replace("at = 21", "at = 21.5", 1))
    books = steps.load_rules(rules, folder)
    found = steps.ask(
        steps.read_client(folder), "late_dinner", "overnight_mean", books, now=NOW, remember=True
    )
    assert found.fixed_before is False
    assert found.evidence is not Evidence.CLEAR
    assert "hypotheses.defined_otherwise" in codes(found.notes)


def test_a_range_moved_after_a_question_was_fixed_makes_it_a_hint_at_most(folder: Path) -> None:
    fix(folder, "late_dinner", "minutes_above")
    fix(folder, "late_dinner", "overnight_mean")
    head, mark, tables = (folder / "client.toml").read_text().partition("\n[")
    (folder / "client.toml").write_text(f"{head}\nrange = [70, 125]\n{mark}{tables}")
    assert asked(folder, "late_dinner", "minutes_above").fixed_before is False
    assert asked(folder).fixed_before is True


def test_a_clock_behind_the_records_proves_no_date(folder: Path) -> None:
    early = datetime(2026, 1, 2, 12, tzinfo=UTC)
    notes = fix(folder, "late_dinner", "overnight_mean", fixed_on=None, now=early)
    assert "Check the clock of this computer" in str(notes[0])
    (question,) = steps.fixed_questions(folder)
    assert (question.fixed_on, question.proven) == ("2026-01-02", False)
    fix(folder, "short_sleep", "wake_glucose", fixed_on=None)
    assert [item.proven for item in steps.fixed_questions(folder)] == [False, True]


@pytest.mark.parametrize("name", ["tag:insulin", "tag:Metformin 500"])
def test_a_medicine_is_no_question(folder: Path, name: str) -> None:
    with pytest.raises(MinerError, match="is the name of a medicine"):
        fix(folder, name, "overnight_mean")
    assert ledger.read(folder).events == ()


def test_a_tag_is_the_same_however_it_is_written(folder: Path) -> None:
    fix(folder, "tag:Red  WINE", "overnight_mean")
    assert [item.factor for item in steps.fixed_questions(folder)] == ["tag:red wine"]
    with pytest.raises(MinerError, match="is already written down"):
        fix(folder, "tag:red wine", "overnight_mean")


@pytest.mark.parametrize("day", [date(1, 1, 1), date(1999, 12, 31), date(2026, 6, 2)])
def test_a_date_that_cannot_be_is_refused(folder: Path, day: date) -> None:
    with pytest.raises(MinerError, match=r"is (still to come|too long ago)"):
        fix(folder, "late_dinner", "overnight_mean", fixed_on=day)


def test_a_ledger_taken_away_is_told_at_the_next_ranking_and_the_one_after(folder: Path) -> None:
    ranked(folder)
    (folder / ledger.NAME).unlink()
    for _ in range(2):
        assert any(note.startswith("ledger.jsonl") for note in map(str, ranked(folder).notes))


def test_a_question_dated_back_after_looks_were_lost_is_a_hint_at_most(folder: Path) -> None:
    ranked(folder)
    (folder / ledger.NAME).unlink()
    fix(folder, "late_dinner", "overnight_mean")
    found = asked(folder)
    assert found.evidence is Evidence.HINT
    assert "hypotheses.looks_lost" in codes(found.notes)
    fix(folder, "short_sleep", "wake_glucose", fixed_on=None)
    assert [item.lost for item in steps.fixed_questions(folder)] == [True, True]
    assert asked(folder, "short_sleep", "wake_glucose").fixed_before is True


def test_a_question_dated_back_after_a_line_was_taken_out_is_a_hint_at_most(folder: Path) -> None:
    fix(folder, "short_sleep", "wake_glucose")
    ranked(folder)
    fix(folder, "late_dinner", "overnight_mean")
    lines = (folder / ledger.NAME).read_bytes().splitlines(keepends=True)
    (folder / ledger.NAME).write_bytes(lines[0] + lines[2])
    assert asked(folder).evidence is Evidence.HINT
    assert [item.lost for item in steps.fixed_questions(folder)] == [False, True]


@pytest.mark.parametrize("agreed", [True, False])
def test_a_question_dated_back_after_a_caseload_is_a_hint_at_most(
    folder: Path, agreed: bool
) -> None:
    head, mark, tables = (folder / "client.toml").read_text().partition("\n[")
    (folder / "client.toml").write_text(f"{head}\npooled = {str(agreed).lower()}\n{mark}{tables}")
    steps.pool(folder.parent, draws=99)
    notes = fix(folder, "late_dinner", "overnight_mean")
    assert ("steps.ranked_after_it" in codes(notes)) is agreed
    assert asked(folder).fixed_before is not agreed
    assert asked(folder).evidence is (Evidence.HINT if agreed else Evidence.CLEAR)


def test_pairs_of_meals_are_a_look(folder: Path) -> None:
    steps.compare_meals(steps.read_client(folder), "walk_after", now=NOW, remember=True)
    (event,) = ledger.read(folder).events
    assert (event.event, event.payload["what"], event.payload["factors"]) == (
        "looked", "compare", ["walk_after"]
    )  # fmt: skip


def test_a_primary_outcome_moved_after_a_ranking_is_said(folder: Path) -> None:
    ranked(folder)
    head, mark, tables = (folder / "client.toml").read_text().partition("\n[")
    (folder / "client.toml").write_text(
        f'{head}\nprimary_outcome = "overnight_mean"\n{mark}{tables}'
    )
    (told,) = noted(ranked(folder).notes, "steps.primary_changed")
    assert "night glucose" in told


@pytest.mark.parametrize("given", ["tag:morning ritual", "tag:Metformin"])
def test_a_medicine_under_another_name_is_no_question(folder: Path, given: str) -> None:
    with (folder / "client.toml").open("a") as file:
        file.write('\n[synonyms]\n"metformin" = "morning ritual"\n')
    with pytest.raises(MinerError, match="is the name of a medicine"):
        steps.fix_question(steps.read_client(folder), given, "overnight_mean", now=NOW)


def test_a_line_of_a_newer_miner_anywhere_keeps_all_others_from_writing(folder: Path) -> None:
    ranked(folder)
    path = folder / ledger.NAME
    path.write_bytes(b'{"schema": 2, "n": 0}\n' + path.read_bytes())
    before = path.read_bytes()
    assert any("newer miner" in note for note in map(str, ranked(folder).notes))
    assert path.read_bytes() == before


def test_a_question_fixed_after_a_look_has_the_interval_and_luck_of_the_search(
    folder: Path,
) -> None:
    searched = {item.id: item for item in ranked(folder).hypotheses}
    whole = steps.rank(
        steps.read_client(folder), now=NOW, together=False, remember=False
    ).hypotheses
    fix(folder, "late_dinner", "overnight_mean")
    listed = ranked(folder).hypotheses[0]
    own = asked(folder)
    mine_whole = next(item for item in whole if item.id == own.id)
    # each beside the search of as many shuffles: 199, and those of a question by default
    for found, mine in ((listed, searched[listed.id]), (own, mine_whole)):
        assert (found.family, found.fixed_before, found.evidence) == ("fixed", False, Evidence.HINT)
        assert (found.interval, found.p_adjusted) == (mine.interval, mine.p_adjusted)
        assert "For this question alone" not in found.luck_sentence
    assert (listed.interval, listed.p_adjusted, listed.luck_sentence) == (
        searched[listed.id].interval, searched[listed.id].p_adjusted,
        searched[listed.id].luck_sentence,
    )  # fmt: skip
    why = steps.why(steps.read_client(folder), listed.id, remember=False)
    assert sum(unit.used for unit in why.units) == listed.counts.with_ + listed.counts.without


def test_days_changed_after_a_ranking_are_named(folder: Path) -> None:
    """By hand in a raw file, by a row more, or by a correction that is taken back again."""
    assert "wording.since.changed" not in codes(ranked(folder).notes)
    assert "wording.since.changed" not in codes(ranked(folder, seed=1).notes)
    meals = folder / "meals.csv"
    raw = meals.read_text("utf-8")
    rows = raw.splitlines()
    day, at = rows[10][:10], rows[10][:16].replace("T", " ")
    moved = rows[10].replace(day, rows[20][:10])
    meals.write_text("\n".join([*rows[:10], *rows[11:], moved]) + "\n", encoding="utf-8")
    (told,) = noted(ranked(folder).notes, "wording.since.changed")
    assert told == f"Changed since they were first looked at: {said(day)}, {said(rows[20][:10])}."
    # the same rows in another order, and in two files
    parts = (rows[:1] + rows[:15:-1], rows[:16])
    for name, part in zip(("meals.csv", "meals-2.csv"), parts, strict=True):
        (folder / name).write_text("\n".join(part) + "\n", encoding="utf-8")
    assert "wording.since.changed" not in codes(ranked(folder).notes)
    steps.correct(folder, DiaryEntry("meals", values={"carbs_g": "1"}), which=at)
    (told,) = noted(ranked(folder).notes, "wording.since.changed")
    assert told == f"Changed since they were first looked at: {said(day)}."
    steps.take_back(folder)
    assert "wording.since.changed" not in codes(ranked(folder).notes)


def rows(folder: Path, stream: str = "glucose") -> list[str]:
    return (folder / f"{stream}.csv").read_text("utf-8").splitlines()


def put(folder: Path, lines: list[str], stream: str = "glucose") -> None:
    (folder / f"{stream}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def moved(line: str, days: int) -> str:
    """Return a row of a file, every date in it later."""
    cells = line.split(",")
    for at, cell in enumerate(cells):
        try:
            when = datetime.fromisoformat(cell)
        except ValueError:
            continue
        cells[at] = (when + timedelta(days=days)).isoformat()
    return ",".join(cells)


def shown(folder: Path, *days: str) -> None:
    client = steps.read_client(folder)
    every = sorted(set(steps.days(client).frame["date"]))
    steps.remember_shown(client, "day", list(days) or every, now=NOW)


def test_what_is_clear_on_a_told_date_says_so_in_the_verdict(folder: Path) -> None:
    fix(folder, "late_dinner", "overnight_mean")
    found = ranked(folder)
    assert (found.hypotheses[0].evidence, found.hypotheses[0].fixed_proven) == ("clear", False)
    others = [item for item in found.hypotheses[1:] if item.evidence is Evidence.CLEAR]
    assert "when you say" in found.verdict or "as you say" in found.verdict or not others
    rules = rulebook.load()
    level = evidence_of(found.hypotheses[0], rules)
    assert level == "Clear enough to test, if it was written down on 1 January 2026, as you say."
    alone = replace(found, hypotheses=found.hypotheses[:1])
    assert verdict(alone, rules) == (
        "One pattern is clear enough to test, if its question was written down on 1 January 2026, "
        "as you say."
    )
    proven = replace(found.hypotheses[0], fixed_proven=True)
    assert evidence_of(proven, rules) == "Clear enough to test."
    both = replace(found, hypotheses=(proven, found.hypotheses[0]))
    assert verdict(both, rules) == (
        "2 patterns are clear enough to test. For 1 of them, this holds only if the question was "
        "written down when you say."
    )


@pytest.mark.parametrize("unit", ["days", "a day", "meals"])
def test_who_saw_the_days_has_looked(folder: Path, unit: str) -> None:
    client = steps.read_client(folder)
    if unit == "meals":
        table = steps.meals(client)
        steps.remember_shown(client, "meal", sorted(set(table.frame["date"])), now=NOW)
    else:
        shown(folder, *(["2026-02-01"] if unit == "a day" else []))
    fix(folder, "late_dinner", "overnight_mean")
    assert asked(folder).evidence is Evidence.HINT


def test_a_day_seen_before_the_question_is_no_look_at_later_ones(folder: Path) -> None:
    shown(folder, "2026-01-08")
    fix(folder, "late_dinner", "overnight_mean", fixed_on=date(2026, 1, 8))
    assert asked(folder).fixed_before is True


def test_the_same_days_shown_again_are_written_once(folder: Path) -> None:
    for _ in range(3):
        shown(folder)
    assert [item.event for item in ledger.read(folder).events] == ["looked"]


def test_days_copied_under_later_dates_are_not_used_twice(folder: Path) -> None:
    """The same month over again would be twice the evidence."""
    before = ranked(folder, remember=False)
    for path in sorted(folder.glob("*.csv")):
        lines = rows(folder, path.stem)
        put(folder, [*lines, *(moved(line, 70) for line in lines[1:])], path.stem)
    client = steps.read_client(folder)
    told = [item for item in client.findings if item.code == "copied_days"]
    assert len(told) == 1
    assert told[0].severity is Severity.LEFT_OUT
    after = steps.rank(client, draws=199, now=NOW, together=False, remember=False)
    assert after.usable_units == before.usable_units


def test_ranked_days_under_later_dates_are_no_new_days_of_a_question(folder: Path) -> None:
    """Looked at, fixed as of that day by the clock, then the very days dated later."""
    ranked(folder)
    fix(folder, "late_dinner", "overnight_mean", fixed_on=None, now=NOW)
    for path in sorted(folder.glob("*.csv")):
        lines = rows(folder, path.stem)
        put(folder, [lines[0], *(moved(line, 200) for line in lines[1:])], path.stem)
    late = datetime(2026, 12, 1, tzinfo=UTC)
    found = steps.ask(
        steps.read_client(folder), "late_dinner", "overnight_mean", now=late, remember=True
    )
    assert found.evidence is Evidence.CANNOT_TELL
    assert "wording.since.seen" in codes(found.notes)
    assert found.difference is None


def test_days_changed_after_somebody_saw_them_are_told_with_the_answer(folder: Path) -> None:
    fix(folder, "late_dinner", "overnight_mean")
    shown(folder)
    lines = rows(folder, "meals")
    put(folder, [*lines[:10], *lines[11:]], "meals")
    assert f"Changed since they were first looked at: {said(lines[10])}." in tuple(
        map(str, asked(folder).notes)
    )


def test_days_removed_after_somebody_saw_them_are_told(folder: Path) -> None:
    """No ranking had used them: whoever saw the table knows which are in the way."""
    shown(folder)
    lines = rows(folder)
    put(folder, [line for line in lines if not line.startswith("2026-01-20")])
    (told,) = noted(ranked(folder).notes, "wording.since.changed")
    assert "20 Jan 2026" in told


def test_days_left_out_after_somebody_saw_them_are_told_with_the_other_answer(
    folder: Path,
) -> None:
    fix(folder, "late_dinner", "overnight_mean")
    asked(folder)
    add(folder, '[[left_out]]\ndate = 2026-01-20\nreason = "travel"\nentered = 2026-01-01')
    notes = tuple(map(str, asked(folder).notes))
    assert "Left out after they had been looked at: 20 Jan 2026." in " ".join(notes)
    assert "Without leaving them out: Clear enough to test." in notes


def test_a_sensor_change_moved_after_a_look_is_told_with_the_answer(folder: Path) -> None:
    fix(folder, "late_dinner", "overnight_mean")
    asked(folder)
    assert "wording.since.settings" not in codes(asked(folder).notes)
    head, mark, tables = (folder / "client.toml").read_text().partition("\n[")
    kept = [line for line in head.splitlines() if not line.startswith("sensor_changes")]
    changed = 'sensor_changes = ["2026-01-25T08:00"]'
    (folder / "client.toml").write_text("\n".join([*kept, changed, mark + tables]))
    assert "wording.since.settings" in codes(asked(folder).notes)


def test_a_ledger_of_another_client_proves_nothing(folder: Path) -> None:
    other = folder.with_name("client-02")
    other.mkdir()
    early = datetime(2026, 1, 1, 12, tzinfo=UTC)
    steps.fix_question(other, "late_dinner", "overnight_mean", now=early)
    for name in (ledger.NAME, ".ledger.last"):
        (folder / name).write_bytes((other / name).read_bytes())
    found = asked(folder)
    assert (found.evidence, found.fixed_proven) == (Evidence.HINT, False)
    assert any("written for another client: 'client-02'" in note for note in map(str, found.notes))
    checked = steps.check(steps.read_client(folder)).findings
    assert any("written for another client" in item.what for item in checked)


def test_a_client_renamed_keeps_what_is_proven_once_the_code_is_written(tmp_path: Path) -> None:
    folder = tmp_path / "client-05"
    folder.mkdir()
    steps.fix_question(folder, "late_dinner", "overnight_mean", now=NOW)
    assert [item.proven for item in steps.fixed_questions(folder)] == [True]
    renamed = folder.rename(tmp_path / "somebody")
    assert [item.proven for item in steps.fixed_questions(renamed)] == [False]
    (renamed / "client.toml").write_text('code = "client-05"\n')
    assert [item.proven for item in steps.fixed_questions(renamed)] == [True]


def test_lines_and_the_note_removed_together_are_told_at_the_next_ranking(folder: Path) -> None:
    fix(folder, "short_sleep", "wake_glucose")
    ranked(folder)
    lines = (folder / ledger.NAME).read_bytes().splitlines(keepends=True)
    (folder / ledger.NAME).write_bytes(lines[0])
    (folder / ".ledger.last").unlink()
    for _ in range(2):
        assert any("the note of" in note for note in map(str, ranked(folder).notes))
    fix(folder, "late_dinner", "overnight_mean")
    assert asked(folder).evidence is Evidence.HINT


def test_rankings_of_other_days_are_told(folder: Path) -> None:
    ranked(folder, last="2026-02-02")
    later = ranked(folder, first="2026-02-03")
    assert any(
        "Other days of this client were ranked once before" in n for n in map(str, later.notes)
    )
    assert not any(
        "Other days" in note for note in tuple(map(str, ranked(folder, last="2026-02-02").notes))
    )


def test_a_year_of_rankings_is_told_in_the_history(folder: Path) -> None:
    rules = rulebook.load()

    def told() -> str:
        return " ".join(render(history_parts(steps.history(folder, rules), rules)).split())

    ranked(folder)
    assert "twelve monthly rankings" not in told()
    ranked(folder, seed=1)
    shown(folder, "2026-01-20")
    shown(folder, "2026-01-21")
    said = told()
    assert "about a quarter of clients would show something clear within twelve monthly" in said
    assert "2 days were looked at one by one. The day 21 Jan 2026 was looked at." in said
    # the share that benchmarks/year.py prints
    measured = (Path(__file__).parents[2] / "benchmarks/results/year.md").read_text()
    all_worlds = next(line for line in measured.splitlines() if line.startswith("| all"))
    assert 20 <= float(all_worlds.split("|")[4].split()[0]) <= 30

"""A caseload in words, as a page, and on the command line."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from miner import rulebook, steps
from miner.caseload.store import Head, read_head, to_parquet
from miner.cli.group import miner as commands
from miner.core import resources
from miner.core.messages import Message, Words, message
from miner.core.results import Doubt, DoubtCode, Evidence
from miner.core.results.caseload import Caseload, ClientRow
from miner.core.results.morning import ClientState
from miner.render.pages import caseload_page
from miner.render.terminal import render
from miner.render.values import caseload_csv
from miner.rulebook import RuleBook
from miner.steps.caseload import with_sentences
from miner.words.door import at_door
from miner.words.practice import MOST_NAMED, MOST_ROWS, CaseloadTeller, caseload_parts, concerns
from miner.words.wording import few


@pytest.fixture(scope="session")
def rules(practice: Path) -> RuleBook:
    return steps.rules_of_practice(practice)


@pytest.fixture
def run() -> Callable[..., Result]:
    def call(*words: str) -> Result:
        return CliRunner().invoke(commands, list(words))

    return call


def text_of(found: Caseload, rules: RuleBook, **choices: Any) -> str:
    return " ".join(render(caseload_parts(found, rules, **choices), 100, styled=False).split())


def test_the_first_lines_say_who_there_is_and_who_agreed(found: Caseload, rules: RuleBook) -> None:
    text = text_of(found, rules)
    count = [row.status for row in found.clients].count
    assert text.startswith(
        f"25 clients: {count('ranked')} ranked, {count('too_few')} with too few days, "
        "2 could not be used."
    )
    assert (
        "22 agreed to be pooled, 1 declined and 2 were not asked yet. "
        f"{found.questions_asked} patterns were pooled"
    ) in text_of(found, rules, detail=True)


def test_what_needs_the_eye_is_told_once_for_all_it_concerns(
    found: Caseload, rules: RuleBook
) -> None:
    text = text_of(found, rules, detail=True)
    assert "client-25: the folder is empty" in text
    assert text.count("Still to ask") == 1
    assert "client-01, client-02, client-03, client-04, client-05, client-06, " in text


def test_only_those_who_cannot_wait_are_first_in_a_line_each(
    found: Caseload, rules: RuleBook
) -> None:
    row = replace(found.clients[0], error=None, cautions=(), attention=("Look.",), state=None)
    reasons = [Message("tables.any_at_least", {"at": k, "days": "1 day"}) for k in (200, 250)]
    why = message("steps.folder_not_used", why="The folder is empty. Fill it.", short="it is empty")
    told = message("tables.was_told", day="2026-02-23", why=())

    def state(code: str, *days: str) -> ClientState:
        return ClientState("f", code, days=days, count=2)

    clients = (
        replace(row, client="a"),
        replace(row, client="b", state=state("too_few")),
        replace(row, client="c", state=state("tick_missing", "2026-02-22")),
        replace(row, client="d", state=state("due", "2026-02-22")),
        replace(row, client="e", state=state("test_due", "2026-02-22")),
        replace(row, client="f", status="error", error=why),
        replace(row, client="g", cautions=(told,), state=state("agreed")),
        replace(row, client="h", cautions=(message("tables.refer_first", why=reasons),)),
        replace(row, client="i", cautions=(message("tables.refer_first", why=reasons[:1]),)),
        replace(row, client="j", state=state("clear")),
    )
    some = replace(found, clients=clients)
    assert CaseloadTeller.of(some, rules).urgent() == [
        ("h", "refer first: 200 or more on 1 day, and 1 more reason"),
        ("i", "refer first: 200 or more on 1 day"),
        ("g", "takes medicine that lowers glucose; sent to a clinician 23 Feb 2026"),
        ("f", "could not be used: it is empty"),
        ("e", "a test can be read since 22 Feb 2026"),
        ("d", "1 kept pattern can be read since 22 Feb 2026"),
        ("c", "1 tick is missing in a running test"),
        ("b", "2 more days are needed"),
    ]
    assert "Look." not in text_of(some, rules)
    assert "Look." in text_of(some, rules, detail=True)
    many = replace(found, clients=clients[1:2] * 60)
    assert text_of(many, rules).count("2 more days are needed") == MOST_ROWS
    assert text_of(many, rules, detail=True).count("2 more days are needed") == 60


def test_texts_that_differ_in_a_count_are_one_text() -> None:
    def row(name: str, *attention: Words) -> ClientRow:
        return ClientRow(name, name, "day", 30, 0, "ranked", 0, 0, True, attention=attention)

    def below(limit: int, days: str) -> Message:
        many = f"Readings below {limit} mg/dL. See."
        said = f"Readings below {limit} mg/dL on {{days}}. See."
        return message("tables.by_rule", rule=said, days=days, of_many=many, own=days)

    def asked(count: int) -> Message:
        many = message("steps.questions_in_checks")
        return message("steps.questions_in_check", count=count, of_many=many, own=count)

    rows = [
        row("a", below(70, "12 days"), asked(2), "A note (3): on 4 days."),
        row("b", below(70, "1 day"), asked(1)),
        row("c", below(54, "1 day"), "A note (5): on 4 days."),
    ]
    expected = [
        (["a (12 days)", "b (1 day)"], "Readings below 70 mg/dL. See."),
        (["a (2)", "b (1)"], "Questions in the check: miner check CLIENT shows them."),
        (["a"], "A note (3): on 4 days."),
        (["c (1 day)"], "Readings below 54 mg/dL. See."),
        (["c"], "A note (5): on 4 days."),
    ]
    assert concerns(rows) == expected
    stored = to_parquet(Head(rows[0], "", {}), pd.DataFrame())
    assert concerns([read_head(BytesIO(stored)).row, *rows[1:]]) == expected
    with at_door("page"):
        assert concerns(rows)[1][1] == "The page Records has questions for you."


def test_cautions_of_any_client_come_before_all_else(found: Caseload, rules: RuleBook) -> None:
    row = replace(found.clients[0], error=None, cautions=(), attention=())
    clients = (
        replace(row, client="a", attention=("Questions in the check (2): see.",)),
        replace(row, client="b", status="error", error="the folder is empty"),
        replace(row, client="c", cautions=("Below 54 mg/dL on 1 day. Refer.",)),
    )
    some = replace(found, clients=clients)
    for told in (text_of(some, rules, detail=True), caseload_page(some, rules)):
        order = (">Clear</th>", "days clear", "Refer.")
        places = [told.index(words) for words in order if words in told]
        places.append(told.index("folder is empty", places[-1]))
        places.append(told.index("in the check"))
        assert len(places) == 4
        assert places == sorted(places)


def test_hints_are_told_with_what_chance_alone_would_give(found: Caseload, rules: RuleBook) -> None:
    hint = replace(found.pooled[0], evidence=Evidence.HINT)
    some = replace(found, pooled=(hint, hint), questions_asked=140)
    # 140 questions at the level of a hint, 0.05
    words = "2 hints were found, and luck alone would give up to about 7."
    assert words in text_of(some, rules)
    assert words in caseload_page(some, rules)
    clear = replace(found, pooled=(replace(hint, evidence=Evidence.CLEAR),))
    assert "luck alone would give" not in text_of(clear, rules)
    assert "luck alone would give" not in caseload_page(clear, rules)


def test_doubts_are_codes_and_are_worded_where_they_are_printed(
    found: Caseload,
) -> None:
    rules, one, other = rulebook.load(), "broken_sleep", "late_sleep"
    raised = (
        Doubt(DoubtCode.CONFOUNDER, one, 0.2),
        Doubt(DoubtCode.CONFOUNDER, other, 0.4),
        Doubt(DoubtCode.WEEKDAY, left=0.1),
    )
    hint = replace(found.pooled[0], evidence=Evidence.HINT, doubts=raised)
    some = replace(found, pooled=(hint,))
    phrases = " or ".join(rules.factor(name).phrase for name in (one, other))
    words = (
        f"{hint.sentence} Once {phrases} is allowed for, less than half of the difference is left. "
        "Within weekdays it does not hold: the clients may have their week in common."
    )
    assert words in text_of(some, rules)
    assert words in caseload_page(some, rules)
    (written,) = some.to_dict()["pooled"]
    assert written["doubts"][0] == {"code": "confounder", "other": one, "left": 0.2}
    assert "weekdays" not in json.dumps(written)
    assert some.pooled_frame()["doubts"].tolist() == ["confounder confounder weekday"]


def test_everyone_concerned_is_named_in_detail(found: Caseload, rules: RuleBook) -> None:
    row = found.clients[0]
    other = replace(row, client="other", error=None, attention=())
    many = tuple(replace(row, client=f"c{k}", attention=("Look here.",)) for k in range(9))
    some = replace(found, clients=(*many, other), pooled=())
    assert "Look here." not in text_of(some, rules)
    assert "c4, c5, c6, c7, c8: Look here." in text_of(some, rules, detail=True)
    assert '<strong>Look here.</strong><br><span class="name">c0,</span>' in caseload_page(
        some, rules
    )
    assert '<span class="name">c8</span>' in caseload_page(some, rules)
    everyone = text_of(replace(some, clients=many), rules, detail=True)
    assert "all 9 clients: Look here." in everyone


def test_what_is_clear_across_clients_is_suggested_to_those_who_cannot_tell(
    found: Caseload, rules: RuleBook
) -> None:
    text = text_of(found, rules)
    effect = found.pooled[0]
    waiting = [row.client for row in effect.by_client if row.evidence is Evidence.CANNOT_TELL]
    assert f"Across {effect.clients} clients, waking glucose was" in text
    assert f"The records of {few(waiting, MOST_NAMED)} do not show it yet." in text
    assert "waking glucose" in text
    assert "mg/dL higher after a short night" in text


def test_the_two_ways_of_pooling_stand_side_by_side(found: Caseload, rules: RuleBook) -> None:
    text = text_of(found, rules)
    effect = found.pooled[0]
    for estimate in (effect.two_stage, effect.reml):
        assert f"{estimate.difference:+.1f}" in text
    apart = replace(found, pooled=(replace(effect, apart=True), *found.pooled[1:]))
    said = "differ by more than half a standard error"
    assert (said in text_of(apart, rules), said in text_of(found, rules)) == (True, effect.apart)


def test_who_differs_is_named(found: Caseload, rules: RuleBook) -> None:
    effect = found.pooled[0]
    rows = tuple(replace(row, differs=row.client == "client-05") for row in effect.by_client)
    other = replace(found, pooled=(replace(effect, by_client=rows),))
    assert re.search(r"It is different for client-05 \([+-]?\d", text_of(other, rules))


def test_millimoles_are_told_where_the_practice_reads_them(
    found: Caseload, rules: RuleBook
) -> None:
    other = with_sentences(replace(found, display_unit="mmol/L"), rules)
    effect = found.pooled[0]
    assert effect.difference is not None
    # 180.156 g/mol (IUPAC weights): 1 mmol/L is 18.0156 mg/dL
    assert f"{effect.difference / 18.0156:.2f} mmol/L higher" in str(other.pooled[0].sentence)
    assert "mg/dL" not in str(other.pooled[0].sentence)


def test_long_lists_are_cut_and_detail_shows_all(found: Caseload, rules: RuleBook) -> None:
    row = found.clients[0]
    many = replace(found, clients=tuple(replace(row, client=f"c{k}") for k in range(60)))
    assert "and 20 more (--detail or --format csv shows all)" in text_of(many, rules)
    assert "c59" in text_of(many, rules, detail=True)
    assert few([str(k) for k in range(8)], MOST_NAMED) == "0, 1, 2, 3, 4, 5 and 2 more"


def test_csv_has_a_line_a_client(found: Caseload) -> None:
    rows = list(csv.DictReader(StringIO(caseload_csv(found))))
    assert [row["client"] for row in rows] == [row.client for row in found.clients]
    assert {row["status"] for row in rows} == {"ranked", "too_few", "error"}
    assert rows[21]["pooled"] == "0"
    assert rows[22]["pooled"] == ""
    assert any(len(row.attention) > 1 for row in found.clients)
    assert any(row.cautions for row in found.clients)
    for said, row in zip(rows, found.clients, strict=True):
        assert said["attention"] == " ".join(map(str, row.attention))
        assert said["cautions"] == " ".join(map(str, row.cautions))
        assert said["not_asked"] == ", ".join(row.not_asked)
        assert said["state"] == (row.state.state if row.state else "")
    assert {row["state"] for row in rows} > {"too_few", "no_questions"}


def test_frames_have_a_row_a_client_and_a_row_a_question(found: Caseload) -> None:
    assert len(found.to_frame()) == 25
    frame = found.pooled_frame()
    assert len(frame) == found.questions_asked
    assert frame["difference"].tolist() == [item.difference for item in found.pooled]


def test_a_difference_that_cannot_be_told_is_said_so(found: Caseload, rules: RuleBook) -> None:
    effect = replace(found.pooled[0], difference=None, interval=None)
    told = with_sentences(replace(found, pooled=(effect,)), rules)
    assert str(told.pooled[0].sentence) == "We could not tell."


def test_one_without_a_slope_of_its_own_is_told_what_the_others_show(
    found: Caseload, rules: RuleBook
) -> None:
    effect = found.pooled[0]
    row = replace(effect.by_client[0], shrunken=None, interval=None, evidence=Evidence.CANNOT_TELL)
    told = with_sentences(replace(found, pooled=(replace(effect, by_client=(row,)),)), rules)
    assert str(told.pooled[0].by_client[0].suggestion).endswith("Yours is not yet known.")


def test_the_page_holds_the_same_and_asks_for_nothing_else(
    found: Caseload, rules: RuleBook
) -> None:
    page = caseload_page(found, rules)
    assert page == caseload_page(found, rules)
    assert str(found.pooled[0].sentence) in page
    assert page.count("<svg") == 2
    assert "default-src &#39;none&#39;" in page
    assert not re.search(r"(src|href)=\"(https?:)?//", page)
    body = re.search(r"aria-label=\"Clients\">(.*?)</table>", page, re.DOTALL)
    assert body is not None
    cells = re.findall(r"<td[^>]*>(.*?)</td>", body[1])
    assert len(cells) == 5 * 25
    assert cells[:6] == ["client-24", "-", "-", "-", "yes", "client-25"]


def test_words_from_a_folder_are_harmless_on_the_page(found: Caseload, rules: RuleBook) -> None:
    bad = ClientRow("<script>x</script>", "f", "day", 1, 0, "error", 0, 0, None, "<img src=x>")
    page = caseload_page(replace(found, clients=(bad,), practice="<b>"), rules)
    assert "<script>x" not in page
    assert "<img" not in page
    assert "<h1>&lt;b&gt;</h1>" in page


def test_nothing_across_clients_is_said_in_so_many_words(found: Caseload, rules: RuleBook) -> None:
    rest = tuple(replace(item, evidence=Evidence.CANNOT_TELL) for item in found.pooled)
    assert "who agreed, no habit stood out in" in text_of(replace(found, pooled=rest), rules)
    assert "no habit stood out" not in text_of(found, rules)


def test_without_effects_the_page_says_so(found: Caseload, rules: RuleBook) -> None:
    page = caseload_page(replace(found, pooled=(), traces=("client-09: gone.",)), rules)
    assert "who agreed, no habit stood out in" in page
    assert "client-09: gone." in page


def test_the_command_prints_each_form_and_writes_the_page(
    run: Callable[..., Result], small: Path, tmp_path: Path
) -> None:
    page = tmp_path / "overview.html"
    result = run("caseload", str(small), "--out", str(page))
    assert result.exit_code == 0
    assert result.stdout.startswith("4 clients: 4 ranked")
    assert result.stderr == f"Written: {page}\n"
    assert page.read_text("utf-8").startswith("<!doctype html>")
    found = json.loads(run("caseload", str(small), "--format", "json").stdout)
    assert [row["client"] for row in found["clients"]] == [f"client-0{k}" for k in range(1, 5)]
    lines = run("caseload", str(small), "--format", "csv", "--workers", "2").stdout.splitlines()
    assert len(lines) == 5


def test_the_command_tells_bad_input(run: Callable[..., Result], small: Path) -> None:
    result = run("caseload", str(small / "nowhere"))
    assert (result.exit_code, result.stdout) == (2, "")
    assert "there is no such folder" in result.stderr
    result = run("caseload", str(small), "--out", str(small / "page.txt"))
    assert result.exit_code == 2
    assert not (small / ".miner-caseload").exists()


def test_a_practice_of_any_size_is_written(run: Callable[..., Result], tmp_path: Path) -> None:
    words = ("--clients", "3", "--days", "4", "--seed", "5")
    result = run("generate", str(tmp_path / "one"), *words)
    assert (result.exit_code, result.stdout) == (0, "")
    assert "3 invented clients were written" in result.stderr
    run("generate", str(tmp_path / "two"), *words)
    files = [
        {path.relative_to(home).as_posix(): path.read_bytes()
         for path in home.rglob("*") if path.is_file()}
        for home in (tmp_path / "one", tmp_path / "two")
    ]  # fmt: skip
    assert files[0] == files[1]
    invented = resources.invented()
    written = json.loads(files[0]["truth.json"])
    expected = invented.write_practice(tmp_path / "three", invented.scenarios(3, 4, 5))
    assert written == json.loads(json.dumps(expected))
    assert sorted({name.split("/")[0] for name in files[0] if "/" in name}) == sorted(
        expected["clients"]
    )


def test_a_folder_with_something_in_it_is_left_alone(
    run: Callable[..., Result], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    for place, said in ((tmp_path, "not empty"), (tmp_path / "file", "a file has this name")):
        result = run("generate", str(place), "--clients", "1", "--days", "3")
        assert result.exit_code == 2
        assert said in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["file"]

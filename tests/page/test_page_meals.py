"""Rankings by meal and by span, meals and their pairs: as the commands tell them, and counted."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from visits import Visitor, words

from miner import ledger, steps
from miner.render.terminal import render
from miner.rulebook import RuleBook
from miner.words.document import Parts
from miner.words.door import at_door
from miner.words.meals import comparison_parts, meals_parts
from miner.words.ranking import ranking_parts
from miner.words.said import rules_at_door

pytestmark = pytest.mark.usefixtures("derived_once")

Open = Callable[[Path], Visitor]
CLIENT = "/clients/client-01"


def squeezed(text: str) -> str:
    return "".join(re.sub(r"&\w+;|&#\d+;|['\"<>&]", "", text).split())


def missing_of(made: Callable[[RuleBook], Parts], rules: RuleBook, page: str) -> list[str]:
    """Lines of a command, in the words of a page, that are not on the page."""
    told = squeezed(page)
    with at_door("page"):
        lines = render(made(rules_at_door(rules)), 100_000).splitlines()
    return [line for line in lines if squeezed(line) not in told]


def ranked(folder: Path) -> list[dict[str, Any]]:
    return [dict(event.payload) for event in ledger.named(ledger.read(folder), "ranked")]


def looks(folder: Path) -> list[tuple[str, list[str]]]:
    events = ledger.named(ledger.read(folder), "looked")
    return [(event.payload["what"], event.payload["factors"]) for event in events]


@pytest.mark.parametrize(
    ("form", "asked"),
    [
        ({"unit": "meal"}, {"unit": "meal"}),
        ({"first": "2026-01-14", "last": "2026-02-15"},
         {"first": "2026-01-14", "last": "2026-02-15"}),
        ({"unit": "meal", "first": "2026-01-20"}, {"unit": "meal", "first": "2026-01-20"}),
        ({"unit": "day", "first": "2026-02-15"}, {"first": "2026-02-15"}),
    ],
)  # fmt: skip
def test_another_ranking_is_word_for_word_the_command_s_and_is_counted(
    practice: Path, visitor: Open, tmp_path: Path, form: dict[str, str], asked: dict[str, str]
) -> None:
    twin = tmp_path / "twin" / "client-01"
    shutil.copytree(practice, twin.parent)
    one = visitor(practice)
    answer = one.post(f"{CLIENT}/ranking", **form)
    client, rules = steps.read_client(twin), steps.load_rules(None, twin)
    ranking = steps.rank(client, rules, **asked, remember=True)  # type: ignore[arg-type]
    assert missing_of(partial(ranking_parts, ranking), rules, answer.text) == []
    kept, printed = ranked(practice / "client-01"), ranked(twin)
    assert len(kept) == len(printed) == (0 if ranking.status == "too_few" else 1)
    assert kept == printed
    again = one.get(f"{CLIENT}/ranking", params=form)
    assert missing_of(partial(ranking_parts, ranking), rules, again.text) == []
    assert ranked(practice / "client-01") == kept


def test_what_is_ranked_second_is_a_second_look(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    assert "Second look" not in words(one.post(f"{CLIENT}/ranking"))
    page = one.get(f"{CLIENT}/ranking", params={"unit": "meal"})
    assert "Second look: " in words(page)
    before = ranked(practice / "client-01")
    page = one.post(f"{CLIENT}/ranking", unit="meal")
    assert ranked(practice / "client-01") == before  # it was looked at already
    ids = re.findall(r"/patterns/([0-9a-f]{8})", page.text)
    assert ids
    assert "Every meal, with and without" in words(one.get(f"{CLIENT}/patterns/{ids[0]}"))
    page = one.post(f"{CLIENT}/ranking", first="2026-01-20")
    assert "Ranked in 3 ways" in words(page)
    for said in ("By day", "By meal", "By day, from 2026-01-20"):
        assert f">{said}</a>" in page.text


@pytest.mark.parametrize(
    "form",
    [{"unit": "week"}, {"first": "2026-02-10", "last": "2026-02-01"}, {"first": "x"},
     {"last": "2026-02-30"}],
)  # fmt: skip
def test_a_ranking_of_nothing_sensible_is_refused(
    practice: Path, visitor: Open, form: dict[str, str]
) -> None:
    assert visitor(practice).send(f"{CLIENT}/ranking", **form).status_code == 400
    assert visitor(practice).get(f"{CLIENT}/ranking", params=form).status_code == 400
    assert ranked(practice / "client-01") == []


def test_the_meals_are_the_command_s(practice: Path, visitor: Open) -> None:
    page = visitor(practice).get(f"{CLIENT}/meals")
    client = steps.read_client(practice / "client-01")
    rules, table = steps.load_rules(None, client.folder), steps.meals(client)
    repeats = steps.repeats(table)
    assert (
        missing_of(
            lambda told: meals_parts("client-01", table, told, repeats)[:2], rules, page.text
        )
        == []
    )
    cells = page.text.count("<td")
    assert cells >= len(table.frame) * (4 + len(table.outcomes))


def test_similar_meals_are_the_command_s_and_a_look(practice: Path, visitor: Open) -> None:
    one, folder = visitor(practice), practice / "client-01"
    page = one.post(f"{CLIENT}/meals", factor="walk_after")
    client, rules = steps.read_client(folder), steps.load_rules(None, folder)
    found = steps.compare_meals(client, "walk_after", rules, remember=False)
    assert found.pairs
    head = replace(found, pairs=())
    assert missing_of(partial(comparison_parts, head), rules, page.text) == []
    assert page.text.count("<svg") == 2
    assert "They do not show why" in words(page)
    assert looks(folder) == [("compare", ["walk_after"]), ("days", [])]
    one.get(f"{CLIENT}/meals", params={"compare": "walk_after"})
    one.get(f"{CLIENT}/meals", params={"compare": "late_meal"})
    one.post(f"{CLIENT}/meals", factor="walk_after")
    assert len(looks(folder)) == 2
    for wrong in ("", "no_such_habit", "<b>"):
        assert one.post(f"{CLIENT}/meals", factor=wrong).status_code == 400
    assert len(looks(folder)) == 2


def test_a_client_without_meals_is_told_so(practice: Path, visitor: Open) -> None:
    (practice / "client-01" / "meals.csv").unlink()
    page = words(visitor(practice).get(f"{CLIENT}/meals"))
    assert "No meal is noted in these records." in page


def test_a_line_up_is_drawn_where_it_was_asked_for(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    one.post(f"{CLIENT}/ranking")
    one.post(f"{CLIENT}/pages", include=["4c28aa7c"], kind=["session"], lineup="1")
    assert "Which of these is yours?" in one.get(f"{CLIENT}/pages/session").text


def test_the_practitioner_s_pages_speak_of_the_client(practice: Path, visitor: Open) -> None:
    """What is said to a client ("your glucose") is said to the client alone."""
    one = visitor(practice)
    one.post(f"{CLIENT}/ranking")
    one.post(f"{CLIENT}/pages", include=["4c28aa7c"], kind=["session", "doctor"])
    parts = ("ranking", "ranking?unit=meal", "patterns/4c28aa7c", "pages", "pages/preparation",
             "pages/doctor")  # fmt: skip
    own = [f"{CLIENT}/{part}" for part in parts]
    for path in [*own, "/rules", f"{CLIENT}/questions"]:
        text = one.get(path).text
        assert not re.search(r"[Yy]our (higher|range|value|days)\b", text), path
    assert "the client's own days" in one.get(f"{CLIENT}/ranking").text.replace("&#39;", "'")
    assert "in your own top quarter" in one.get(f"{CLIENT}/pages/session").text

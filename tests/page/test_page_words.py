"""What the practitioner reads: no commands, no names of the code, no tabs of nobody."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path

import pytest
from visits import Visitor, words

from miner import rulebook
from miner.words.door import at_door
from miner.words.said import rules_at_door
from miner.words.sentences import factor_name
from miner.words.wording import unit_name

pytestmark = pytest.mark.usefixtures("derived_once")

Open = Callable[[Path], Visitor]
CLIENT = "/clients/client-01"
COMMAND = re.compile(r"(?<![\w-])--[a-z]|['\"]miner [a-z]|: miner [a-z]")
"""An option, or a command as a message names it."""
READ_BY_COMMANDS = ("cli", "caseload", "records", "rulebook")
"""Rooms of which a page reads some texts alone; the rest is about options."""
SAID_TO_COMMANDS = {
    "page.port_not_usable.do",
    "steps.no_work_folder.do",
    "steps.not_an_archive.found",
    "steps.archive_exists.do",
    "steps.in_clients_folder.do",
    "steps.export_exists.do",
    "steps.tag_and_food.do",
    "steps.merged_already.do",
    "steps.nothing_to_take_back.do",
    "steps.no_correction_at_all.do",
    "steps.no_correction_in_force.do",
    "steps.rows_lost.do",
    "steps.number_before_ranking.do",
    "steps.ranking_without_numbers.do",
    "words.length_calendar.text",
}
"""What is wrong with an archive, a merging, a correction or an entry that a command writes."""


def texts_of_a_page() -> Iterator[tuple[str, str]]:
    """Code and text of all that a page may say."""
    for book in (resources.files("miner.words") / "texts").iterdir():
        room = book.name.removesuffix(".toml").partition("-")[0]
        if room not in READ_BY_COMMANDS:
            for code, parts in tomllib.loads(book.read_text(encoding="utf-8")).items():
                for part, text in parts.items():
                    if part.endswith("_page") or f"{part}_page" not in parts:
                        yield f"{room}.{code}.{part}", text


def test_no_command_and_no_option_is_left_in_what_a_page_says() -> None:
    wording = rules_at_door(rulebook.load(), "page").wording
    told = [*texts_of_a_page()]
    told += [
        (f"{table}.{key}", text)
        for table, part in wording.items()
        for key, text in part.items()
        if isinstance(text, str)
    ]
    assert len(told) > 300
    assert {code for code, text in told if COMMAND.search(text)} == SAID_TO_COMMANDS


@pytest.mark.parametrize("text", ["See 'miner rank'.", "Correct --date.", "2 open: miner check X."])
def test_a_command_in_a_text_would_be_found(text: str) -> None:
    assert COMMAND.search(text)


def test_habits_and_meals_have_their_words_on_a_page_and_their_names_in_a_command() -> None:
    rules, meal = rulebook.load(), "2026-01-22T21:27"
    assert factor_name("short_sleep", rules) == "short_sleep"
    assert factor_name("tag:red wine", rules) == "tag:red wine"
    assert unit_name(meal) == meal
    with at_door("page"):
        assert factor_name("short_sleep", rules) == "a short night"
        assert factor_name("tag:run again", rules) == '"run again" days'
        assert factor_name("food:you", rules, "meal") == "you"
        assert unit_name(meal) == "2026-01-22 21:27"
        for unit in ("day", "meal"):
            for name in rules.factors_of(unit):
                assert "_" not in factor_name(name, rules, unit)


def test_a_client_that_is_not_there_has_no_tabs(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    there = one.get(CLIENT)
    assert there.status_code == 200
    assert 'aria-label="Client"' in there.text
    answer = one.get("/clients/nobody")
    assert answer.status_code == 404
    assert 'aria-label="Client"' not in answer.text
    assert "/clients/nobody/" not in answer.text


def test_a_refusal_may_load_its_own_looks_alone(practice: Path) -> None:
    answer = Visitor(practice).client.get("/")
    policy = answer.headers["content-security-policy"]
    assert answer.status_code == 403
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "script" not in policy


def test_a_new_client_is_told_what_to_do_on_every_page(empty: Path, visitor: Open) -> None:
    one = visitor(empty)
    one.post("/clients", code="client-01")
    for part in ("", "/records", "/days", "/meals", "/ranking", "/pages", "/follow-up"):
        page = words(one.get(CLIENT + part))
        assert "here are no records yet" in page, part
        assert "on the page Records" in page, part
        assert "glucose file" not in page, part


def test_the_day_that_is_proposed_for_a_test_can_be_had(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    one.post(f"{CLIENT}/ranking")
    page = one.get(f"{CLIENT}/patterns/4c28aa7c").text
    start = page.partition('id="start"')[2].partition('value="')[2][:10]
    told = words(one.post(f"{CLIENT}/patterns/4c28aa7c/plan", start=start))
    assert "Choose how long it takes" in told


def test_the_page_to_prepare_from_is_made_with_the_ranking(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    one.post(f"{CLIENT}/ranking")
    (looked,) = one.state.clients.rankings.values()
    assert list(looked.pages) == ["preparation"]
    assert one.get(f"{CLIENT}/pages/preparation").text == looked.pages["preparation"]


def test_the_clients_of_the_caseload_can_be_opened(practice: Path, visitor: Open) -> None:
    page = visitor(practice).post("/caseload").text
    assert f'<a href="{CLIENT}">client-01</a>' in page

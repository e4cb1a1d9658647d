"""What the practitioner reads: no commands, no names of the code, no tabs of nobody."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from visits import Visitor, words

from miner import rulebook
from miner.page.words import for_page, plain_names

pytestmark = pytest.mark.usefixtures("derived_once")

Open = Callable[[Path], Visitor]
CLIENT = "/clients/client-01"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("short_sleep 41, tag:red wine 2", "short sleep 41, the tag red wine 2"),
        ("late_dinner.csv, row 3", "late_dinner.csv, row 3"),
        ("my_late_dinner and late_dinner_2", "my_late_dinner and late_dinner_2"),
        ("glucose_mg_dl, time_zone", "glucose_mg_dl, time_zone"),
        ("2026-01-22T21:27: readings", "2026-01-22 21:27: readings"),
        ("food:oats with minutes_above", "the food oats with minutes above"),
        ("http://x/tag:y", "http://x/tag:y"),
    ],
)
def test_names_are_said_as_a_person_writes_them(text: str, told: str) -> None:
    assert plain_names(text) == told


def test_every_name_of_the_rule_book_is_said_without_underscores() -> None:
    rules = rulebook.load()
    for name in (*rules.factors, *rules.outcomes):
        own = name.rpartition(".")[2]
        assert "_" not in plain_names(f"{own} 3")


@pytest.mark.parametrize(
    "text",
    [
        "Correct --pairs, or leave it out.", "Correct --worth-having, or leave it out.",
        "Name a larger one with --worth-having, or watch it instead: --as watch.",
        "'4c28aa7c' is kept already, with --as watch", "an idea kept with --as alternate",
        "Correct --read-on, or leave it out.", "Shorten --note.", "Correct --date.",
        "'miner ask' answers it. 'miner rank' ranks.", "3 more: miner check CLIENT shows all.",
        "Choose another, or watch it: --as watch.",
        *(text for part in rulebook.load().wording.values() for text in part.values()
          if "--" in str(text)),
    ],
)  # fmt: skip
def test_no_option_of_a_command_is_left_in_a_message(text: str) -> None:
    """The messages as the steps word them, found by looking for options in their texts."""
    told = for_page(text)
    assert not re.search(r"--[a-z]|miner", told), told
    assert told[0] in "'3" or told[0].isupper() or text[0].islower()


def test_a_sentence_that_began_with_a_command_begins_with_a_capital() -> None:
    assert for_page("It is open. 'miner ask' answers it.") == (
        "It is open. The page Questions answers it."
    )
    assert for_page("See 'miner history'.") == "See the page History."


def test_where_ticks_go_is_said_as_the_page_has_it() -> None:
    text = rulebook.load().wording["plan"]["ticks"].format(example="2026-03-09,ab12cd,yes")
    assert for_page(text) == "What the client ticked is noted on the page of the plan."
    assert for_page(f"Before. {text} After.").endswith("of the plan. After.")


def test_a_client_that_is_not_there_has_no_tabs(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    assert 'aria-label="Client"' in one.get(CLIENT).text
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
    assert "What a test takes" in told


def test_the_page_to_prepare_from_is_made_with_the_ranking(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    one.post(f"{CLIENT}/ranking")
    (looked,) = one.state.clients.rankings.values()
    assert list(looked.pages) == ["preparation"]
    assert one.get(f"{CLIENT}/pages/preparation").text == looked.pages["preparation"]


def test_the_clients_of_the_caseload_can_be_opened(practice: Path, visitor: Open) -> None:
    page = visitor(practice).post("/caseload").text
    assert f'<a href="{CLIENT}">client-01</a>' in page

"""One text, two doors: the command line and a page."""

from __future__ import annotations

import re
import threading
import tomllib
from importlib import resources

import pytest

from miner import rulebook
from miner.core.messages import message
from miner.words.door import Door, at_door, door_now
from miner.words.said import rules_at_door, texts

RULES = rulebook.load()


def label(rules: rulebook.RuleBook) -> str:
    return rules.outcome("minutes_above").label


@pytest.mark.parametrize("door", ["", "paper", "page"])
def test_only_what_the_client_reads_says_you(door: Door) -> None:
    with at_door(door):
        assert label(rules_at_door(RULES)) == "time above range"
    with at_door("client"):
        assert rules_at_door(RULES) == RULES
        assert label(rules_at_door(RULES)) == "time above your range"


def test_a_page_speaks_of_the_client_and_of_pages() -> None:
    page = rules_at_door(RULES, "page")
    assert label(page) == "time above range"
    assert "on the page Intake" in page.cautions.not_asked
    assert "miner result" not in page.wording["result"]["due"]
    assert page.hash == RULES.hash


def test_what_a_practice_wrote_itself_is_left_as_it_is() -> None:
    wording = RULES.wording | {"result": RULES.wording["result"] | {"due": "Run again, you."}}
    words = {"label": "your time up", "label_of_client": ""}
    own = RULES.outcome("minutes_above").model_copy(update=words)
    outcomes = RULES.outcomes | {"minutes_above": own}
    page = rules_at_door(
        RULES.model_copy(update={"wording": wording, "outcomes": outcomes}), "page"
    )
    assert page.wording["result"]["due"] == "Run again, you."
    assert page.wording["result"]["no_pair"] != RULES.wording["result"]["no_pair"]
    assert label(page) == "your time up"


def test_every_text_of_a_page_takes_the_place_of_one_that_ships() -> None:
    page = rules_at_door(RULES, "page")
    assert set(page.wording) == set(RULES.wording)
    for table, words in page.wording.items():
        assert set(words) == set(RULES.wording[table])


def test_of_two_open_doors_the_inner_one_counts_and_threads_keep_their_own() -> None:
    seen = []
    with at_door("page"):
        with at_door(""):
            assert door_now() == ""
        thread = threading.Thread(target=lambda: seen.append(door_now()))
        thread.start()
        thread.join()
        assert door_now() == "page"
    assert seen == [""]
    assert door_now() == ""


def test_a_code_is_worded_for_the_door_that_is_open(monkeypatch: pytest.MonkeyPatch) -> None:
    book = {"kind": {"text": "Run 'miner rank'.", "text_page": "Open the page Ranking."}}
    monkeypatch.setattr("miner.words.said._book", lambda _: book)
    assert str(message("room.kind")) == "Run 'miner rank'."
    with at_door("page"):
        assert str(message("room.kind")) == "Open the page Ranking."
        assert texts("room.kind", {}, "")["text"] == "Run 'miner rank'."


def test_a_paper_names_no_command() -> None:
    command = re.compile(r"\bminer [a-z]|(^|\s)--[a-z]")
    wording = rules_at_door(rulebook.load(), "paper").wording
    told = [*wording["result"].values()]
    for path in (resources.files("miner.words") / "texts").iterdir():
        if path.name.startswith("findings"):
            for parts in tomllib.loads(path.read_text(encoding="utf-8")).values():
                told += [parts.get(f"{part}_paper", parts[part]) for part in ("found", "do")]
    assert len(told) > 200
    assert [text for text in told if command.search(text)] == []

"""What is written down about a word keeps its meaning, whatever is merged with it later."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from miner import ledger, rulebook, steps
from miner.core.messages import MinerError
from miner.followup.keeping import as_kept, reworded
from miner.hypotheses.fixed import LOOKED, REWORDED
from miner.records.synonyms import merged_now
from miner.steps.client_ledger import ledger_of

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
FIXED = date(2026, 1, 1)
MERGED = '[synonyms]\n"late cofee" = "late coffee"\n'


@pytest.fixture
def client(tmp_path: Path) -> Path:
    """Two days of readings, a tag in two spellings."""
    folder = tmp_path / "practice" / "client-01"
    folder.mkdir(parents=True)
    rows = "".join(f"2026-03-0{d}T{h:02d}:{m:02d},100\n" for d in (2, 3) for h in range(24)
                   for m in (0, 30))  # fmt: skip
    (folder / "glucose.csv").write_text("time,glucose_mg_dl\n" + rows)
    (folder / "tags.csv").write_text(
        "time,tag\n2026-03-02T15:00,late coffee\n2026-03-03T15:00,late cofee\n"
    )
    return folder


def settle(folder: Path, text: str) -> None:
    (folder.parent / "practice.toml").write_text(text)


def fix(folder: Path, word: str, outcome: str = "wake_glucose") -> None:
    steps.fix_question(folder, f"tag:{word}", outcome, fixed_on=FIXED, now=NOW)


def look(folder: Path) -> None:
    """What a ranking leaves in the ledger, as far as it matters here."""
    settings = steps.read_client(folder).settings
    payload = {"last_day": "2026-03-03", "unit": "day", **merged_now(settings)}
    ledger.append(folder, "ranked", payload, NOW)


def asked(folder: Path) -> list[tuple[str, str | None]]:
    past = ledger_of(steps.read_client(folder))
    return [(item.factor, item.doubt) for item in past.questions(rulebook.load(), "day")]


@pytest.mark.parametrize("word", ["late coffee", "late cofee"])
def test_words_merged_before_anybody_looked_are_followed(client: Path, word: str) -> None:
    fix(client, word)
    settle(client, MERGED)
    assert asked(client) == [("tag:late coffee", None)]
    look(client)
    assert asked(client) == [("tag:late coffee", None)]


@pytest.mark.parametrize("word", ["late coffee", "late cofee"])
def test_words_merged_after_a_look_make_a_hint_at_most(client: Path, word: str) -> None:
    fix(client, word)
    look(client)
    assert asked(client) == [(f"tag:{word}", None)]
    settle(client, MERGED)
    assert asked(client) == [("tag:late coffee", REWORDED)]
    settle(client, "")
    assert asked(client) == [(f"tag:{word}", None)]


def test_words_parted_after_a_look_make_a_hint_at_most(client: Path) -> None:
    settle(client, MERGED)
    fix(client, "late coffee")
    look(client)
    assert asked(client) == [("tag:late coffee", None)]
    settle(client, "")
    assert asked(client) == [("tag:late coffee", REWORDED)]


def test_a_look_at_earlier_days_chooses_nothing(client: Path) -> None:
    ledger.append(client, "looked", {"last_day": "2025-12-31"}, NOW)
    fix(client, "late coffee")
    ledger.append(client, "looked", {"last_day": "2025-12-31"}, NOW)
    settle(client, MERGED)
    assert asked(client) == [("tag:late coffee", None)]


def test_other_words_and_other_doubts_stay_as_they_were(client: Path) -> None:
    fix(client, "late coffee")
    look(client)
    settle(client, '[synonyms]\nvino = "wine"\n')
    assert asked(client) == [("tag:late coffee", None)]
    fix(client, "wine")
    assert asked(client)[1] == ("tag:wine", LOOKED)


def test_two_questions_that_become_one_share_the_level_as_one(client: Path) -> None:
    fix(client, "late cofee")
    fix(client, "late coffee")
    fix(client, "wine")
    rules = rulebook.load()
    steps.fix_question(client, "walk_after", "meal.rise", rules, fixed_on=FIXED, now=NOW)
    assert ledger_of(steps.read_client(client)).share(rules, "day") == 3 / 4
    settle(client, MERGED)
    assert asked(client) == [("tag:late coffee", None), ("tag:wine", None)]
    assert ledger_of(steps.read_client(client)).share(rules, "day") == 2 / 3


def test_a_question_about_a_merged_word_is_known_as_fixed(client: Path) -> None:
    fix(client, "late cofee")
    settle(client, MERGED)
    with pytest.raises(MinerError, match="is already written down"):
        fix(client, "late coffee")


def kept_with(words: dict[str, tuple[str, ...]]) -> Any:
    """An idea as it was kept, as far as its words go."""
    return SimpleNamespace(definitions=SimpleNamespace(range=(70.0, 140.0), words=words))


@pytest.mark.parametrize(
    ("factor", "words", "tags"),
    [
        ("tag:late coffee", ["late coffee"], ["late coffee", "late cofee"]),
        ("tag:late cofee", ["late cofee"], ["late coffee", "late cofee"]),
        ("tag:late coffee", ["late cofee", "late coffee"], ["late coffee", "late coffee"]),
    ],
)
def test_what_was_kept_goes_on_with_the_words_it_was_kept_with(
    client: Path, factor: str, words: list[str], tags: list[str]
) -> None:
    kept = kept_with({factor: tuple(words)})
    for text in (MERGED, "", '[synonyms]\n"late coffee" = "late cofee"\n'):
        settle(client, text)
        read = steps.read_client(client)
        then = as_kept(read, kept)
        assert then.used("tags")["tag"].tolist() == tags
        same = read.used("tags")["tag"].nunique() == len(set(tags))
        assert reworded(read, kept) == (() if same else tuple(words))


def test_foods_that_were_kept_go_on_too(client: Path) -> None:
    settle(client, '[food_synonyms]\nspagetti = "spaghetti"\npasta = "spaghetti"\n')
    kept = kept_with({"food:pasta": ("pasta",)})
    then = as_kept(steps.read_client(client), kept)
    assert then.settings.food_synonyms == {"spagetti": "spaghetti"}


def test_what_was_kept_without_words_is_read_as_before(client: Path) -> None:
    settle(client, MERGED)
    read = steps.read_client(client)
    kept = kept_with({})
    assert as_kept(read, kept).used("tags")["tag"].tolist() == ["late coffee"] * 2
    assert reworded(read, kept) == ()


def test_a_merge_says_what_of_the_ledgers_it_touches(client: Path) -> None:
    fix(client, "late cofee")
    look(client)
    found = steps.merge(client.parent, ["late cofee"], "late coffee", preview=True)
    assert [(item.client, item.what, item.factor, item.state) for item in found.reworded] == [
        ("client-01", "question", "tag:late cofee", "after")
    ]
    assert found.together.times == 2

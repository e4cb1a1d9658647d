"""The weekly check as text: what is there, how far each question is, and a message to send."""

from __future__ import annotations

from dataclasses import replace

import pytest

from miner.core.messages import message
from miner.core.results.week import Logged, OpenQuestion, Week
from miner.render.terminal import render
from miner.rulebook import RuleBook
from miner.words.week import question_sentence, week_message, week_parts

DAYS = tuple(f"2026-03-{day:02d}" for day in range(4, 11))
ADVICE = [
    message("steps.worth_logging", told="", asked=message(f"steps.please_{name}"))
    for name in ("meals", "tags")
]


def kept(factor: str, with_: int, without: int, **changes: object) -> OpenQuestion:
    about = {
        "kind": "kept",
        "id": "4c28aa7c",
        "factors": (factor,),
        "outcome": "wake_glucose",
        "since": "2026-02-23",
        "unit_of": "day",
        "with_": with_,
        "without": without,
        "unknown": 0,
        "need_each_side": 5,
        "need_units": 10,
        "enough": False,
        "days_to_enough": 10,
        "never": False,
        "why_unknown": "",
    }
    return OpenQuestion(**{**about, **changes})  # type: ignore[arg-type]


def said(item: OpenQuestion, rules: RuleBook) -> OpenQuestion:
    return replace(item, sentence=question_sentence(item, rules))


def test_a_week_is_told_with_its_kept_patterns_and_a_message(rules: RuleBook) -> None:
    week = Week(
        client="client-01",
        days=DAYS,
        logged={
            "glucose": Logged("hours", (24.0,) * 7, 7),
            "sleep": Logged("entries", (1.0,) * 7, 7),
            "meals": Logged("entries", (3.0,) * 6 + (0.0,), 6),
        },
        questions=(
            said(kept("short_sleep", 3, 11), rules),
            said(kept("tag:coffee late", 3, 10, unknown=1, days_to_enough=1), rules),
        ),
        worth_logging=(),
        message=week_message(ADVICE, ["glucose", "sleep", "activity"]),
    )
    text = """\
client-01, 4 to 10 Mar 2026
glucose 7 of 7 days, sleep 7, meals 6

Kept patterns, counted since 23 Feb (each needs 5 days with and 5 without)
1  Short nights (waking glucose): 3 with, 11 without. About 10 more days.
2  "coffee late" days (waking glucose): 3 with, 10 without, 1 not known. About 1
   more day.

Message to send
  Hello, and thank you for this week. Your glucose, sleep and movement are here
  for every day. Two things would help next week. Please note each meal when it
  begins, with the time and a word or two. Please note something every day, even
  if the day was like any other. A day with no notes is fine. We will just count
  it as not known.
"""
    assert render(week_parts(week)) == text
    assert render(week_parts(week, detail=True)) == (
        text
        + """
What was noted, by day
           4 Mar  5 Mar  6 Mar  7 Mar  8 Mar  9 Mar  10 Mar  days
  glucose   24 h   24 h   24 h   24 h   24 h   24 h    24 h     7
  sleep        1      1      1      1      1      1       1     7
  meals        3      3      3      3      3      3       -     6
"""
    )


@pytest.mark.parametrize(
    ("changes", "end"),
    [
        ({"enough": True}, "That is enough to look."),
        ({"days_to_enough": None, "never": True}, "At this pace it will never be enough."),
        ({"days_to_enough": None}, "It is too early to say how many more days it takes."),
        (
            {"unknown": 2, "why_unknown": "nothing was noted that day"},
            "2 not known (nothing was noted that day). About 10 more days.",
        ),
    ],
)
def test_how_far_a_question_is(rules: RuleBook, changes: dict[str, object], end: str) -> None:
    assert question_sentence(kept("short_sleep", 3, 11, **changes), rules).endswith(end)


def test_a_message_with_nothing_missing_asks_for_nothing() -> None:
    assert week_message([], ["sleep"]) == (
        "Hello, and thank you for this week. Your sleep is here for every day. Nothing is "
        "missing, so please go on as you do. A day with no notes is fine. We will just count it "
        "as not known."
    )

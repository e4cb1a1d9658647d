"""Every doubt has one text that says what it is and what would settle it."""

from dataclasses import replace

import pytest

from miner import rulebook
from miner.core.results import Doubt, DoubtCode
from miner.words.teller import doubt_sentences

RULES = rulebook.load()


@pytest.fixture
def said(samples):
    def told(*doubts, unit="day"):
        return doubt_sentences(replace(samples.hypothesis(), doubts=doubts), RULES, unit)

    return told


@pytest.mark.parametrize("code", DoubtCode)
def test_every_doubt_says_what_would_settle_it(code, said):
    other = {"weekday": "tue thu", "confounder": "late_sleep", "one_day": "2026-03-05",
             "unequal_spread": "with"}.get(code)  # fmt: skip
    (text,) = said(Doubt(code, other, 0.2))
    assert text.rstrip(".").endswith("would tell")
    assert "{" not in text


def test_what_stands_behind_a_doubt_is_named(said):
    (weekday,) = said(Doubt(DoubtCode.WEEKDAY, "tue thu", 0.1))
    assert weekday.startswith("It came mostly on Tuesdays and Thursdays")
    (day,) = said(Doubt(DoubtCode.ONE_DAY, "2026-03-05", 0.3))
    assert day.startswith("Without Thu 5 March, less than 50% of the difference is left.")
    (meal,) = said(Doubt(DoubtCode.ONE_DAY, "2026-03-05T12:30", 0.3), unit="meal")
    assert meal.startswith("Without Thu 5 March 12:30, less")


# A confounder is named once, as a cut and as a dose.
def test_confounders_are_one_text(said):
    names = ("late_sleep", "late_dinner", "late_sleep")
    (text,) = said(*(Doubt(DoubtCode.CONFOUNDER, name, 0.1) for name in names))
    assert text.startswith("Once a late night or a late dinner is allowed for, less than")


def test_without_doubts_nothing_is_said(said):
    assert said() == []

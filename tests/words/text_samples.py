"""Results made by hand for the tests of the text pages."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pandas as pd

from miner import rulebook
from miner.core.results import (
    CautionKind,
    CautionText,
    CheckReport,
    Counts,
    Evidence,
    Finding,
    Hypothesis,
    OutcomeSummary,
    Ranking,
    Severity,
    StreamSummary,
    Wording,
    worded,
)
from miner.words import said

NAN = float("nan")
_PARTS = {"found": "what", "expected": "expected", "do": "do", "short": "short"}
said._book("findings")["as_told"] = {part: f"{{{name}}}" for part, name in _PARTS.items()}


def as_told(
    severity: Severity, file: str | None, row: int | None, what: str, **about: Any
) -> Finding:
    """Return a finding in words of its own."""
    expected, do = about.pop("expected", "b"), about.pop("do", "Do c")
    texts = {"what": what, "expected": expected, "do": do, "short": ""}
    return Finding(severity, file, row, told_as="as_told", values=texts, **about)


WORDING = Wording(rulebook.load())


def cautions(kind: str, *texts: str) -> tuple[CautionText, ...]:
    """Cautions of one kind."""
    return tuple(CautionText(CautionKind(kind), text) for text in texts)


def to_be_told(kind: str, text: str, **about: Any) -> CautionText:
    """Return a caution of which nobody told the client as yet."""
    waiting = tuple((topic, "informed") for topic in ("sleep", "stress", "movement", "meals"))
    about = {"class_": "agree", "waiting": waiting, "agreement": ("movement", "meals")} | about
    return CautionText(CautionKind(kind), text, **about)


def hypothesis(**changes: Any) -> Hypothesis:
    """A short night before a higher morning, as section 4 of the contract shows it."""
    item = Hypothesis(
        id="3fa9c1d2",
        rank=1,
        family="search",
        factors=("short_sleep",),
        lag_days=(0,),
        outcome="wake_glucose",
        relation="precedes",
        counts=Counts(9, 5, 19, 2, 2),
        difference=8.4,
        unit="mg/dL",
        interval=(0.8, 16.0),
        p=0.0007,
        p_adjusted=0.021,
        evidence=Evidence.CLEAR,
        expected_on_new_days=5.2,
        wording=WORDING,
    )
    return replace(item, **changes)


def ranking(*hypotheses: Hypothesis, **changes: Any) -> Ranking:
    """A month of thirty usable days."""
    item = Ranking(
        client="client-07",
        version="0.1.0",
        unit="day",
        usable_units=30,
        left_out_units=3,
        seed=0,
        draws=10000,
        records_hash="a",
        rules_hash="b",
        rankings_of_these_records=1,
        questions_asked=212,
        claim_level=0.05,
        primary_outcome="minutes_above",
        hints_by_chance=1.4,
        clear_by_chance=0.05,
        outcomes=(
            OutcomeSummary("wake_glucose", "mg/dL", 5, 9.1, 7.0, 30),
            OutcomeSummary("minutes_above", "min", 20, 34.2, 27.0, 30),
        ),
        hypotheses=hypotheses,
        cautions=(),
        from_day="2026-03-01",
        to_day="2026-04-02",
    )
    item = replace(item, **changes)
    return worded(item, replace(WORDING, unit=item.unit, days=item.days))


def report(**changes: Any) -> CheckReport:
    """Two streams, one day without readings, one finding to put right."""
    item = CheckReport(
        client="client-07",
        streams={
            "glucose": StreamSummary(
                9800,
                9700,
                ("glucose.csv",),
                "2026-03-01T06:00:00",
                "2026-04-04T23:55:00",
                35,
                5.0,
                3.25,
            ),
            "sleep": StreamSummary(0, 0, (), None, None, 0),
        },
        first_day="2026-03-01",
        last_day="2026-04-04",
        days=35,
        usable_days=33,
        not_usable={"2026-03-04": "under 70 % of readings", "2026-03-09": "under 70 % of readings"},
        known_factors={"short_sleep": 30, "late_dinner": 22},
        findings=(
            as_told(
                Severity.NOTE,
                None,
                None,
                "no time zone is given",
                expected="time_zone",
                do="Add it",
            ),
            as_told(
                Severity.LEFT_OUT,
                "sleep.csv",
                41,
                "bedtime is '25:10'",
                expected="00:00 to 23:59",
                do="Correct that cell and run again",
                count=3,
            ),
        ),
        cautions=cautions("not_asked", "Not asked: pregnancy, possible or planned."),
        intake_not_asked=("pregnancy",),
        records_hash="a",
    )
    return replace(item, **changes)


def day_table(**columns: list[Any]) -> Any:
    """Three days: one whole, one with an unknown habit, one left out."""
    frame = pd.DataFrame(
        {
            "date": ["2026-03-01", "2026-03-02", "2026-03-03"],
            "sensor": ["A", "A", "B"],
            "usable": [True, True, False],
            "left_out": ["", "", "under 70 % of readings"],
            "wake_glucose": [98.25, 101.0, NAN],
            "minutes_above": [0.0, 34.6, NAN],
            "short_sleep": [1.0, NAN, 0.0],
            "tag:rain": [0.0, 1.0, NAN],
            **columns,
        },
        index=["2026-03-01", "2026-03-02", "2026-03-03"],
    )
    factors = ("short_sleep", "tag:rain", *columns)
    return SimpleNamespace(
        unit="day", frame=frame, outcomes=("wake_glucose", "minutes_above"), factors=factors
    )

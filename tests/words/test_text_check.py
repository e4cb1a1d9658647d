from __future__ import annotations

import re
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest

from miner.core.results import CautionKind, CautionText, Finding, Severity, StreamSummary
from miner.render.terminal import render
from miner.rulebook import RuleBook
from miner.words.check import check_parts

LONG = "Tracker export of the second week, corrected by hand (copy 3) - final version.csv"
CUT = re.compile(r"\.\.\.(?!')")
"""An ellipsis that does not close a shortened name in quotes: a sentence that was cut."""


def finding(severity: Severity = Severity.QUESTION, what: str = "a", **about: Any) -> Finding:
    texts = {"what": what, "expected": "b", "do": "Do c", "short": ""} | about.pop("texts", {})
    place = {name: about.pop(name, None) for name in ("file", "row")}
    return Finding(severity, **place, told_as="as_told", values=texts, **about)


def many(severity: Severity, count: int = 12) -> tuple[Finding, ...]:
    what = f"column '{'x' * 37}...' holds what nobody could read at all"
    return tuple(
        finding(severity, f"the {k}th {what}", file=LONG, row=k, gain_days=k or None)
        for k in range(count)
    )


def test_a_check_is_one_screen(samples: ModuleType, rules: RuleBook) -> None:
    assert (
        render(check_parts(samples.report(), rules))
        == """\
client-07, 1 Mar to 4 Apr 2026: 33 of 35 days can be used.

To do
1  Ask about pregnancy.

Not used
  4, 9 Mar  under 70 % of readings

Records   rows   days
glucose   9800     35   every 5 minutes, longest gap 3.2 hours
sleep        0      0
Least known: late dinners on 22 days, short nights on 30 days.

Nothing to do about: bedtime is '25:10' (sleep.csv); no time zone is given.
"""
    )


def test_the_detail_holds_everything(samples: ModuleType) -> None:
    text = render(check_parts(samples.report(), detail=True))
    assert text.startswith(render(check_parts(samples.report())))
    assert "  glucose  9800  9700    35  2026-03-01  2026-04-04  5 min        3.2 h\n" in text
    assert "  2 days: under 70 % of readings (2026-03-04, 2026-03-09)\n" in text
    assert "  short_sleep 30, late_dinner 22\n" in text
    assert "  sleep.csv, row 41: bedtime is '25:10'. Expected 00:00 to 23:59." in text
    assert "(3 times)" in text


def test_stops_come_first_then_what_settles_most(samples: ModuleType) -> None:
    findings = (
        finding(what="settles nothing", code="w"),
        finding(what="settles few", gain_days=2, code="x"),
        finding(what="settles many", gain_days=30, code="y"),
        finding(Severity.STOP, what="stops"),
    )
    text = render(check_parts(samples.report(findings=findings)))
    told = [line for line in text.splitlines() if re.match(r"\d ", line)]
    assert told[:2] == ["1  Stops. Do c.", "1  Settles many. Do c. It is about 30 days."]
    assert told[2:4] == ["2  Settles few. Do c. It is about 2 days.", "3  Settles nothing. Do c."]
    assert told[4:] == ["4  Ask about pregnancy."]
    assert text.startswith("To correct first\n1  Stops. Do c.\n\nclient-07")


def test_findings_of_one_kind_are_one_step(samples: ModuleType) -> None:
    lows = tuple(
        finding(code="pressure_low", days=(f"2026-03-0{k}",), gain_days=1, count=9)
        for k in (3, 5, 8)
    )
    text = render(check_parts(samples.report(findings=lows)))
    assert "1  Ask whether the client was lying on the sensor during a low in 3" in text
    assert "3, 5, 8 Mar" in " ".join(text.split())
    assert "take it as real" not in text
    lows = tuple(replace(item, values={"lowest": 53.0}) for item in lows)
    text = render(check_parts(samples.report(findings=lows)))
    assert "One is very low, so take it as real and refer first." in " ".join(text.split())


@pytest.mark.parametrize("severity", list(Severity))
def test_a_check_has_at_most_25_lines_and_no_cut_sentence(
    samples: ModuleType, rules: RuleBook, severity: Severity
) -> None:
    said = tuple(CautionText(CautionKind.REFERRAL, "x" * 90, f"reason {k}") for k in range(6))
    days = {f"2026-03-{k:02d}": f"illness was noted on day {k}" for k in range(1, 29)}
    covered = {"2026-03-04": 0.1, "2026-03-09": 0.5}
    report = samples.report(
        findings=many(severity), cautions=said, not_usable=days, client="x" * 40, covered=covered
    )
    text = render(check_parts(report, rules))
    assert len(text.splitlines()) <= 25
    assert not CUT.findall(text)
    assert not CUT.findall(render(check_parts(report, rules, detail=True)))


def test_days_with_few_readings_are_told_in_one_line_where_they_are_many(
    samples: ModuleType,
) -> None:
    few = {f"2026-03-{k:02d}": f"readings cover {k} % of the day" for k in range(10, 20)}
    report = samples.report(not_usable=few, covered=dict.fromkeys(few, 0.5))
    text = render(check_parts(report))
    assert "Not used: 15, 16, 17, 18, 19 Mar and 5 more for too few readings.\n" in text
    few = {"2026-03-04": "x", "2026-03-30": "y"}
    text = render(check_parts(samples.report(not_usable=few, covered=dict.fromkeys(few, 0.699))))
    assert (
        "\n  4 Mar   readings for 69 % of the day; 70 % are needed\n  30 Mar  readings for 69 %"
        in text
    )


def test_the_files_of_each_stream_are_named(samples: ModuleType) -> None:
    streams = samples.report().streams
    streams["sleep"] = replace(streams["sleep"], files=("a.csv", "b.csv"))
    text = render(check_parts(samples.report(streams=streams), detail=True))
    assert "  glucose: glucose.csv; sleep: a.csv, b.csv\n" in text


def test_reasons_to_refer_lead_and_what_is_about_patterns_is_not_said(
    samples: ModuleType, rules: RuleBook
) -> None:
    urgent = rules.cautions.intake["lows"].when_yes
    said = samples.cautions
    cautions = said("always", "Not a diagnosis.") + said("patterns", "No why.")
    report = samples.report(cautions=(samples.to_be_told("intake", urgent), *cautions))
    text = render(check_parts(report, detail=True))
    assert text.startswith(f"REFER FIRST.\n  ! {urgent} Tell the client to see a")
    assert f"Cautions in full\n  {urgent}\n" in text
    assert text.endswith("\n\nNot a diagnosis.\n")
    assert "No why." not in text


def test_nothing_read_is_told_without_empty_blocks(samples: ModuleType) -> None:
    empty = samples.report(
        streams={},
        first_day=None,
        last_day=None,
        days=0,
        usable_days=0,
        not_usable={},
        known_factors={},
        findings=(),
        cautions=(),
        intake_not_asked=(),
    )
    told = "client-07: 0 of 0 days can be used.\n"
    assert render(check_parts(empty)) == render(check_parts(empty, detail=True)) == told


def test_hostile_words_are_inert(samples: ModuleType, rules: RuleBook) -> None:
    hostile = "[red]\x1b]0;title\x07\u202e" + "z" * 5000
    parts = {"expected": hostile, "do": hostile}
    report = samples.report(
        client=hostile,
        not_usable={"2026-03-04": hostile},
        known_factors={hostile: 1},
        findings=(finding(Severity.STOP, hostile, file=hostile, row=1, texts=parts),),
        cautions=samples.cautions("referral", hostile) + samples.cautions("not_asked", hostile),
        intake_not_asked=(hostile,),
    )
    text = render(check_parts(report, rules, detail=True))
    assert "[red]" in text
    assert not set(text) & {"\x1b", "\x07", "\u202e"}
    assert len(text) < 40_000


def test_the_detail_sends_nobody_to_the_detail_and_breaks_no_name(
    samples: ModuleType, rules: RuleBook
) -> None:
    """A million rows and a long gap leave the names of the streams whole."""
    wide = StreamSummary(
        1_234_567,
        1_234_567,
        ("a.csv",),
        "2026-03-01T06:00:00",
        "2026-04-04T23:55:00",
        1035,
        5.0,
        1203.25,
    )
    report = samples.report(
        streams={"glucose": wide, "activity": wide},
        findings=many(Severity.QUESTION) + many(Severity.NOTE),
        cautions=samples.cautions("intake", rules.cautions.intake["lows"].when_yes),
    )
    text = render(check_parts(report, rules, detail=True))
    assert "--detail" in render(check_parts(report, rules))
    assert "--detail" not in text
    assert len(re.findall(r"^ *activity ", text, re.MULTILINE)) == 2

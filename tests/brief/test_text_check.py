from __future__ import annotations

from dataclasses import replace
from types import ModuleType

from miner.brief.text.check import check_parts
from miner.brief.text.layout import render
from miner.results import Finding, Severity
from miner.rulebook import RuleBook


def test_a_check_is_told_in_full(samples: ModuleType) -> None:
    assert (
        render(check_parts(samples.report()))
        == """\
client-07, 2026-03-01 to 2026-04-04: 33 of 35 days can be used.
Not asked: pregnancy, possible or planned.

Streams
  stream   rows  used  days  from        to          every  longest gap
  glucose  9800  9700    35  2026-03-01  2026-04-04  5 min        3.2 h
  sleep       0     0     0  -           -               -            -
  glucose: glucose.csv

Days that cannot be used
  2 days: under 70 % of readings (2026-03-04, 2026-03-09)

Habits, and on how many days each is known
  short_sleep 30, late_dinner 22

Left out (1)
  sleep.csv, row 41: bedtime is '25:10'. Expected: 00:00 to 23:59. Correct that
  cell and run again. (3 times)

Notes (1)
  no time zone is given. Expected: time_zone. Add it.
"""
    )


def test_stops_and_questions_come_first(samples: ModuleType) -> None:
    findings = tuple(Finding(severity, None, None, "a", "b", "c") for severity in Severity)
    text = render(check_parts(samples.report(findings=findings)))
    titles = ["Must be put right (1)", "Questions for you (1)", "Left out (1)", "Notes (1)"]
    places = [text.index(title) for title in titles]
    assert places == sorted(places)


def test_a_severity_fills_at_most_a_screen(samples: ModuleType) -> None:
    findings = tuple(
        Finding(Severity.LEFT_OUT, "f.csv", row, "what " * 90, "so", "Do it") for row in range(100)
    )
    text = render(check_parts(samples.report(findings=findings)))
    block = text[text.index("Left out (100)") :]
    assert block.rstrip().endswith("and 92 more; --format json shows all")
    assert len(block.splitlines()) <= 40
    assert "f.csv, row 7:" in block
    assert "f.csv, row 8:" not in block


def test_reasons_are_grouped_the_most_common_first(samples: ModuleType) -> None:
    why = {"2026-03-01": "b", "2026-03-02": "a", "2026-03-03": "a"}
    text = render(check_parts(samples.report(not_usable=why)))
    assert "  2 days: a (2026-03-02, 2026-03-03)\n  1 day: b (2026-03-01)\n" in text


def test_a_count_is_told_once(samples: ModuleType) -> None:
    finding = Finding(Severity.NOTE, None, None, "288 readings left out", "b", "c", 288)
    text = render(check_parts(samples.report(findings=(finding,))))
    assert "288 readings left out. Expected: b. c.\n" in text


def test_the_files_of_each_stream_are_named(samples: ModuleType) -> None:
    streams = samples.report().streams
    streams["sleep"] = replace(streams["sleep"], files=("a.csv", "b.csv"))
    text = render(check_parts(samples.report(streams=streams)))
    assert "  glucose: glucose.csv; sleep: a.csv, b.csv\n" in text


def test_reasons_to_refer_lead_and_what_is_about_patterns_is_not_said(
    samples: ModuleType, rules: RuleBook
) -> None:
    urgent = rules.cautions.intake["lows"].when_yes
    said = samples.cautions
    cautions = said("always", "Not a diagnosis.") + said("patterns", "No why.")
    text = render(check_parts(samples.report(cautions=(*said("intake", urgent), *cautions))))
    assert text.startswith(f"Before anything else\n  ! {urgent}\n\nclient-07")
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
    )
    assert render(check_parts(empty)) == "client-07: 0 of 0 days can be used.\n"


def test_hostile_words_are_inert(samples: ModuleType) -> None:
    hostile = "[red]\x1b]0;title\x07\u202e" + "z" * 5000
    report = samples.report(
        client=hostile,
        not_usable={hostile: hostile},
        known_factors={hostile: 1},
        findings=(Finding(Severity.STOP, hostile, 1, hostile, hostile, hostile),),
        cautions=samples.cautions("referral", hostile) + samples.cautions("not_asked", hostile),
    )
    text = render(check_parts(report))
    assert "[red]" in text
    assert not set(text) & {"\x1b", "\x07", "\u202e"}
    assert len(text) < 20_000

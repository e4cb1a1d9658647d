from __future__ import annotations

import csv
from dataclasses import replace
from io import StringIO
from textwrap import fill
from types import ModuleType
from typing import Any

import pytest

from miner.core.messages import Message, message
from miner.core.results import (
    CautionText,
    Counts,
    Doubt,
    DoubtCode,
    Evidence,
    OutcomeSummary,
    Per,
    Shape,
    Withheld,
)
from miner.render.terminal import render
from miner.render.values import ranking_csv
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.ranking import ranking_parts
from miner.words.sentences import reason_words
from miner.words.teller import HypothesisTeller
from miner.words.wording import dated

REST = """\
212 patterns were checked. Of single habits, we saw little sign of 0 and could
not tell about 0. With nothing true, such a list calls something clear in about
5 of 100 records. A record this long would reveal a difference of about 34
minutes in time above range.
"""
CLOSING = """\
High is the highest quarter of the client's own days, sensor by sensor. Patterns
do not show why, and this is not a diagnosis. More: --detail
"""
BEHIND = "The days behind a pattern: miner why client-07 1\n"
NEXT = """\
Next: write three questions down before the next records (miner ask). That finds
a true pattern far more often than a search does.
"""


def standing(samples: ModuleType, rules: RuleBook) -> tuple[CautionText, ...]:
    always: tuple[CautionText, ...] = samples.cautions("always", *rules.cautions.always)
    return (*always, *samples.cautions("patterns", *rules.cautions.with_patterns))


def told(ranking: Any, rules: RuleBook, **options: Any) -> str:
    return render(ranking_parts(ranking, rules, **options))


def test_one_claim_is_told_on_one_screen(samples: ModuleType, rules: RuleBook) -> None:
    item = samples.hypothesis(
        travels_with=("late_dinner", "tag:restaurant"), could_run_backwards=True
    )
    assert (
        told(samples.ranking(item), rules)
        == f"""\
client-07, 1 Mar to 2 Apr 2026: 30 of 33 days could be used.

One pattern is clear enough to test.
1  Short nights came before higher waking glucose.
   Waking glucose was high after 5 of 9 short nights and after 2 of 19 others.
   It was about 8 mg/dL higher (1 to 16); on new days, expect about 5. Luck
   alone would show a pattern this strong in about 2 of 100 records this long.
   Late dinners and restaurant days often came along. It could run the other way
   round.

{REST}{CLOSING}{BEHIND}"""
    )


def test_hints_are_a_line_each_with_what_they_cannot_be_told_from(
    samples: ModuleType, rules: RuleBook
) -> None:
    other = message(
        "hypotheses.stands_for_counted",
        factor="long_eating_window",
        other="meals spread over 12 hours",
        apart=1,
        of=31,
        unit="day",
    )
    missing = message(
        "hypotheses.missing_more_often", with_=1, of_with=9, without=0, of_without=19, unit="day"
    )
    hint = {"evidence": Evidence.HINT, "p_adjusted": 0.4}
    items = [
        samples.hypothesis(**hint, factors=("late_dinner",), notes=(other, missing)),
        samples.hypothesis(
            **hint, factors=("tag:restaurant",), difference=-8.4, means=(98.4, 112.0)
        ),
        samples.hypothesis(**hint, outcome="variability", relation="same_day"),
        samples.hypothesis(**hint),
    ]
    assert (
        told(samples.ranking(samples.hypothesis(), *items, hints_by_chance=4.3), rules)
        .partition("\n\n")[2]
        .partition("\n\n")[2]
        == f"""\
Hints, no more than luck would give (4 found, about 4 expected, 3 shown):
2  Late dinners, then higher waking glucose: 5 of 9 high, 2 of 19 others.
   It may just as well be meals spread over 12 hours: 1 day of 31 differed.
3  Restaurant days, then lower waking glucose: 98 mg/dL on average, 112 without.
4  Short nights, with more varied glucose: 5 of 9 high, 2 of 19 others.

{REST}{CLOSING}{BEHIND}"""
    )


def test_nothing_found_is_told_before_the_hints_that_luck_would_give(
    samples: ModuleType, rules: RuleBook
) -> None:
    little = [samples.hypothesis(evidence=Evidence.LITTLE_SIGN)] * 42
    unknown = [samples.hypothesis(evidence=Evidence.CANNOT_TELL)] * 101
    hint = samples.hypothesis(
        evidence=Evidence.HINT,
        p_adjusted=0.9,
        factors=("tag:headache",),
        relation="same_day",
        outcome="minutes_above",
        unit="min",
        difference=-40.0,
        counts=Counts(5, 0, 13, 5, 2),
    )
    rest = REST.replace("little sign of 0", "little sign of 42")
    rest = rest.replace("tell about 0", "tell about 101")
    assert (
        told(samples.ranking(*little, *unknown, hint), rules)
        == f"""\
client-07, 1 Mar to 2 Apr 2026: 30 of 33 days could be used.

No habit stood out. That is a full answer.

{_filled(rest)}
Hints, no more than luck would give (1 found, about 1 expected):
1  Headache days, with less time above range: 0 of 5 high, 5 of 13 others.

{NEXT}{CLOSING}{BEHIND}"""
    )


def _filled(text: str) -> str:
    return f"{fill(' '.join(text.split()), 80)}\n"


def test_what_came_together_is_the_headline_where_nothing_is_clear(
    samples: ModuleType, rules: RuleBook
) -> None:
    items = tuple(
        samples.hypothesis(
            id=f"id-{name}",
            factors=(name,),
            evidence=Evidence.CANNOT_TELL,
            outcome="overnight_mean",
            expected_on_new_days=None,
            difference=16.0,
            interval=(6.2, 25.4),
            p=p,
            counts=Counts(10, 8, 18, 0, 2),
            withheld=Withheld(why(other, rules), 1, 5),
        )
        for name, other, p in (
            ("late_dinner", "long_eating_window", 0.0002),
            ("long_eating_window", "late_dinner", 0.0003),
        )
    )
    text = told(samples.ranking(*items), rules)
    assert (
        """
We could not tell which habit came before higher night glucose.
Late dinners and days with meals over 12 hours came on the same days. Night
glucose was high after 8 of 10 late dinners and after 0 of 18 others. It was
about 16 mg/dL higher (6 to 25). Any two of them differed on 1 day at most. To
tell them apart: 4 days with one of them and not the others.
"""
        in text
    )


def why(other: str, rules: RuleBook) -> Message:
    return message("hypotheses.not_told_apart", factor=other, other=rules.factor(other).phrase)


def test_a_dose_is_told_by_its_amount(samples: ModuleType, rules: RuleBook) -> None:
    dose = samples.hypothesis(
        shape=Shape.DOSE, per=Per(1.0, "h", "less", 1.2), difference=6.9, interval=(1.2, 12.6)
    )
    assert """
1  Each hour less sleep came before higher waking glucose, by about 7 mg/dL.
   Waking glucose was high after 5 of 9 short nights and after 2 of 19 others.
   It was about 7 mg/dL higher for each hour less sleep (1 to 13); on new days,
   expect about 5. Luck alone would show a pattern this strong in about 2 of 100
   records this long.
""" in told(samples.ranking(dose), rules)


def test_meals_are_told_as_meals(samples: ModuleType, rules: RuleBook) -> None:
    item = samples.hypothesis(
        factors=("tag:restaurant",), outcome="rise", evidence=Evidence.HINT, small=True
    )
    second = message(
        "steps.second_look", unit="meal", why=message("steps.ranked_first", other="day")
    )
    ranking = samples.ranking(
        item, unit="meal", usable_units=131, left_out_units=7, notes=(second,)
    )
    text = told(ranking, rules)
    assert text.startswith("client-07, 1 Mar to 2 Apr 2026: 131 of 138 meals could be used.\n")
    assert "1  Restaurant meals, with a larger rise after the meal: 5 of 9 high, 2 of 19" in text
    full = " ".join(told(ranking, rules, detail=True).split())
    assert "about 8 mg/dL larger (1 to 16); on new meals, expect too little to act on." in full
    assert "the rise after the meal was high for 5 of 9 restaurant meals" in full.casefold()
    assert "The meals behind a pattern: miner why client-07 1" in full


BACKWARDS = "It could run the other way round."


# Contract: what is clear says in its own headline that it could run backwards; a hint beside it.
@pytest.mark.parametrize("evidence", [Evidence.CLEAR, Evidence.HINT])
def test_what_could_run_backwards_says_so_once(
    samples: ModuleType, rules: RuleBook, evidence: Evidence
) -> None:
    item = samples.hypothesis(
        relation="same_day", outcome="day_mean", evidence=evidence, could_run_backwards=True
    )
    (item,) = samples.ranking(item).hypotheses
    assert (BACKWARDS in item.sentence) == (evidence is Evidence.CLEAR)
    assert render(HypothesisTeller(rules, Amounts()).parts(item), 2000).count(BACKWARDS) == 1


def test_a_second_look_tells_no_rate_of_claims_it_never_makes(
    samples: ModuleType, rules: RuleBook
) -> None:
    hint = samples.hypothesis(evidence=Evidence.HINT)
    usual = "calls something clear in about 5 of 100"
    first = samples.ranking(hint)
    assert usual in " ".join(told(first, rules).split())
    text = told(replace(first, second_look=True, clear_by_chance=0.0), rules)
    assert "something clear" not in text
    fixed = samples.hypothesis(family="fixed", evidence=Evidence.HINT)
    asked = replace(first, hypotheses=(fixed, hint), clear_by_chance=0.0875)
    both = (
        "With nothing true, the search and your questions call something clear in up to 8.8 of 100"
    )
    assert both in " ".join(told(asked, rules).split())
    # the fixed questions alone may be called clear, by a level shared with the other unit
    alone = replace(asked, second_look=True, clear_by_chance=0.0375)
    text = " ".join(told(alone, rules).split())
    assert both.replace("8.8", "3.8") in text
    assert usual not in text


def test_mmol_is_shown_to_who_reads_mmol(samples: ModuleType, rules: RuleBook) -> None:
    text = told(samples.ranking(samples.hypothesis()), rules, display_unit="mmol/L", detail=True)
    # 8.4, 0.8, 16.0 and 5.2 mg/dL over 18.0156
    assert "It was about 0.5 mmol/L higher (0.04 to 0.9); on new days, expect about 0.3." in text
    assert "3fa9c1d2: +0.47 mmol/L (+0.04 to +0.89); on new days +0.29; p 0.0007, and" in text
    assert "mg/dL" not in text
    assert "difference of about 34" in text


def test_reasons_to_refer_come_before_any_pattern(samples: ModuleType, rules: RuleBook) -> None:
    asks = rules.cautions.not_asked.format(names="pregnancy")
    cautions = (
        *standing(samples, rules),
        *samples.cautions("not_asked", asks),
        samples.to_be_told("intake", rules.cautions.intake["lows"].when_yes),
    )
    lines = told(samples.ranking(samples.hypothesis(), cautions=cautions), rules).splitlines()
    assert lines[1:4] == ["Still to ask the client: pregnancy.", "", "REFER FIRST."]
    only = lines.index("For you only, until you have referred the client:")
    assert only > 5
    assert lines[only + 1] == "One pattern is clear enough to test."


def test_without_a_reason_to_refer_the_answer_leads(samples: ModuleType, rules: RuleBook) -> None:
    ranking = samples.ranking(samples.hypothesis(), cautions=standing(samples, rules))
    assert told(ranking, rules).splitlines()[1:3] == ["", "One pattern is clear enough to test."]
    full = " ".join(told(ranking, rules, detail=True).split())
    assert rules.cautions.always[0] in full
    assert rules.cautions.always[0] not in " ".join(told(ranking, rules).split())


def test_at_most_three_hints_and_what_luck_gives(samples: ModuleType, rules: RuleBook) -> None:
    hints = [samples.hypothesis(id=f"id-{n}", evidence=Evidence.HINT) for n in range(5)]
    text = told(samples.ranking(*hints), rules)
    assert "Hints (5 found, about 1 expected from luck, 3 shown):\n1  Short" in text
    assert text.count("Short nights, then higher waking glucose:") == 3
    unknown = told(samples.ranking(*hints[:2], hints_by_chance=None), rules)
    assert "Hints (2 found):" in unknown
    assert "No pattern is clear enough to test. 2 may be worth watching." in unknown


def test_a_hint_that_passed_says_why_it_is_no_more(samples: ModuleType, rules: RuleBook) -> None:
    doubt = Doubt(DoubtCode.CONFOUNDER, "late_dinner")
    passed = samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.01, doubts=(doubt,))
    weak = samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.4, doubts=(doubt,))
    text = " ".join(told(samples.ranking(passed, weak, hints_by_chance=2.0), rules).split())
    assert text.count("Once a late dinner is allowed for, less than half") == 1
    assert text.count("Luck alone would show a pattern this strong in about 1 of 100") == 1
    assert "Hints, no more than luck would give (2 found, about 2 expected):" in text


def test_what_is_unlikely_is_told_where_nothing_is_withheld(
    samples: ModuleType, rules: RuleBook
) -> None:
    item = samples.hypothesis(
        family="fixed", evidence=Evidence.CANNOT_TELL, unlikely_beyond=12.4, days_to_settle=1
    )
    line = "More than about 12 mg/dL is unlikely. In 1 new day, a difference worth acting on would"
    assert line in " ".join(told(samples.ranking(item), rules).split())
    # 12.4 mg/dL over 18.0156
    mmol = told(samples.ranking(item), rules, display_unit="mmol/L")
    assert "More than about 0.7 mmol/L is unlikely." in mmol
    closed = replace(item, withheld=Withheld("cannot be told apart from a late dinner"))
    assert "unlikely" not in told(samples.ranking(closed), rules)
    hint = replace(item, evidence=Evidence.HINT)
    assert "unlikely" not in told(samples.ranking(hint), rules)


def test_a_date_the_ledger_does_not_show_is_according_to_you(
    samples: ModuleType, rules: RuleBook
) -> None:
    item = samples.hypothesis(
        family="fixed", fixed_on="2026-02-01", fixed_proven=False, guess="down"
    )
    text = " ".join(told(samples.ranking(item), rules).split())
    day = dated("2026-02-01")
    assert f"Written down on {day}, according to you. The guess was lower." in text
    assert "Clear enough to test, if it was written down on 1 February 2026, as you say." in text
    proven = told(samples.ranking(replace(item, fixed_proven=True, guess=None)), rules)
    assert f"Written down on {day}.\n" in proven
    assert "guess" not in proven


def test_twenty_five_lines_hold_a_claim_and_three_hints(
    samples: ModuleType, rules: RuleBook
) -> None:
    hints = [samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.5)] * 5
    many = [samples.hypothesis(evidence=Evidence.CANNOT_TELL)] * 200
    ranking = samples.ranking(
        samples.hypothesis(), *hints, *many, cautions=standing(samples, rules)
    )
    assert len(told(ranking, rules).splitlines()) <= 25


def test_the_rest_is_counted_not_listed(samples: ModuleType, rules: RuleBook) -> None:
    rest = [samples.hypothesis(id="hidden", evidence=Evidence.CANNOT_TELL)] * 4
    rest += [samples.hypothesis(id="hidden", evidence=Evidence.LITTLE_SIGN)] * 2
    both = samples.hypothesis(factors=("short_sleep", "late_dinner"), lag_days=(0, 1))
    rest.append(replace(both, id="hidden", evidence=Evidence.CANNOT_TELL))
    text = " ".join(told(samples.ranking(*rest), rules).split())
    assert "Of single habits, we saw little sign of 2 and could not tell about 4." in text
    assert "hidden" not in text


def test_every_question_that_was_written_down_is_answered(
    samples: ModuleType, rules: RuleBook
) -> None:
    item = samples.hypothesis(
        family="fixed",
        evidence=Evidence.CANNOT_TELL,
        difference=None,
        interval=None,
        withheld=Withheld("it came on too few nights", 4, 5),
        fixed_on="2026-02-01",
        notes=("More than about 12 is unlikely.",),
    )
    open_one = samples.hypothesis(
        family="fixed", evidence=Evidence.CANNOT_TELL, days_to_settle=40, interval=(-3.0, 12.0)
    )
    text = told(samples.ranking(item, open_one), rules)
    day = dated("2026-02-01")
    words = " ".join(text.split())
    assert (
        "1 We could not tell about short nights and waking glucose. Waking glucose was high after "
        "5 of 9 short nights and after 2 of 19 others. It came on too few nights (4 of the 5 "
        f"needed). Written down on {day}. More than about 12 is unlikely."
    ) in words
    assert (
        "2 We could not tell about short nights and waking glucose. Waking glucose was high after "
        "5 of 9 short nights and after 2 of 19 others. It was about 8 mg/dL higher (3 lower to "
        "12 higher); on new days, expect about 5. In 40 new days, a difference worth acting on "
        "would be found 80 times in 100."
    ) in words
    assert "could not tell about 0." in words


def test_too_few_days_end_with_what_to_do_meanwhile(samples: ModuleType, rules: RuleBook) -> None:
    ranking = samples.ranking(status="too_few", usable_units=12, need_units=20, outcomes=())
    assert (
        told(ranking, rules, folder="my/client-07")
        == """\
client-07, 1 Mar to 2 Apr 2026: 12 of 15 days could be used.

Too few days to look for patterns: 20 are needed, so 8 more.
While you wait, write down three questions: miner ask my/client-07 with --fix.
"""
    )


def test_a_second_look_and_what_is_not_ranked_are_told(
    samples: ModuleType, rules: RuleBook
) -> None:
    tied = OutcomeSummary("day_mean", "mg/dL", 5, None, None, 30, Withheld("over half are tied"))
    ranking = samples.ranking(
        outcomes=(tied,), rankings_of_these_records=3, notes=("A second look.",), hypotheses=()
    )
    assert told(ranking, rules).splitlines()[:4] == [
        "client-07, 1 Mar to 2 Apr 2026: 30 of 33 days could be used.",
        "Ranked in 3 ways so far. With each further way, a lucky find is more likely.",
        "A second look.",
        "We could not look at the day's average: over half are tied.",
    ]


def test_detail_adds_the_exact_figures_of_every_pattern(
    samples: ModuleType, rules: RuleBook
) -> None:
    other = samples.hypothesis(
        rank=2,
        id="b7",
        outcome="minutes_above",
        unit="min",
        factors=("short_sleep", "late_dinner"),
        lag_days=(0, 1),
        counts=Counts(0, 0, 0, 0, 30),
        difference=None,
        interval=None,
        p=None,
        p_adjusted=None,
        evidence=Evidence.CANNOT_TELL,
    )
    ranking = samples.ranking(samples.hypothesis(), other)
    text = told(ranking, rules, detail=True)
    assert text.startswith(told(ranking, rules).rstrip("\n"))
    assert (
        """
Exact figures
1  3fa9c1d2: +8.4 mg/dL (+0.8 to +16.0); on new days +5.2; p 0.0007, and 0.021
   with all patterns counted in.
"""
        in text
    )
    assert (
        """
Waking glucose, mg/dL
  Worth acting on: 5.0 mg/dL. Found 80 times in 100: 9.1 mg/dL. Usual variation:
  7.0 mg/dL.
ID       habit       with without difference           p adj
3fa9c1d2 short_sleep  5/9    2/19 +8.4 (+0.8 to +16.0) 0.021 clear

Time above range, min
  Worth acting on: 20 min. Found 80 times in 100: 34 min. Usual variation: 27
  min.
ID habit                     with without difference p adj
b7 short_sleep + late_dinner  0/0     0/0 - (-)          - ?
"""
        in text
    )


def test_hostile_words_are_inert(samples: ModuleType, rules: RuleBook) -> None:
    hostile = "[red]\x1b[31m\u202e" + "z" * 5000
    item = samples.hypothesis(
        factors=(f"tag:{hostile}",),
        travels_with=(f"tag:{hostile}",),
        id=hostile,
        notes=(hostile,),
    )
    outcome = OutcomeSummary(hostile, hostile, 1, None, None)
    ranking = samples.ranking(
        item,
        client=hostile,
        cautions=samples.cautions("referral", hostile),
        outcomes=(outcome,),
    )
    text = told(ranking, rules, detail=True)
    assert "[red]" in text
    assert not set(text) & {"\x1b", "\u202e"}
    assert max(map(len, text.splitlines())) <= 80
    assert len(text) < 40_000


def test_text_is_ascii_where_names_are(samples: ModuleType, rules: RuleBook) -> None:
    item = samples.hypothesis(family="fixed", could_run_backwards=True)
    ranking = samples.ranking(item, cautions=standing(samples, rules))
    assert told(ranking, rules, detail=True).isascii()


def test_csv_holds_a_line_a_hypothesis_in_full(samples: ModuleType) -> None:
    item = samples.hypothesis(
        travels_with=("late_dinner", "few_steps"), withheld=Withheld("weekend"), p=0.1 + 0.2,
        ordinary_interval=(2.9, 13.9),
    )  # fmt: skip
    (row,) = csv.DictReader(StringIO(ranking_csv(samples.ranking(item))))
    assert row["factors"] == "short_sleep"
    assert row["travels_with"] == "late_dinner + few_steps"
    assert row["withheld"] == "weekend"
    # support 5/28, confidence 5/9, lift (5/9)/(7/28), leverage 5/28 - (9/28)(7/28)
    shares = [float(row[name]) for name in ("support", "confidence", "lift", "leverage")]
    assert shares == pytest.approx([5 / 28, 5 / 9, (5 / 9) / (7 / 28), 5 / 28 - 9 / 28 * 7 / 28])
    assert (row["with"], row["interval_low"], row["days_to_settle"]) == ("9", "0.8", "")
    assert (row["ordinary_interval_low"], row["ordinary_interval_high"]) == ("2.9", "13.9")
    unknown = samples.hypothesis(interval=None)
    (other,) = csv.DictReader(StringIO(ranking_csv(samples.ranking(unknown))))
    assert {other[name] for name in other if "interval_" in name} == {""}
    assert not {"interval", "ordinary_interval"} & {*row}
    assert float(row["p"]) == 0.1 + 0.2
    assert ranking_csv(samples.ranking()) == "id\n"


def test_shares_are_told_as_percent_and_counts_as_counts() -> None:
    tied = reason_words(Withheld("more than half the values are the same", 1.0, 0.5))
    assert tied.endswith("are the same (100 %; at most 50 % would do).")
    kept = reason_words(Withheld("cannot be told apart from the weekend", 0.043, 0.1))
    assert kept.endswith("the weekend (4 %; at least 10 % would do).")
    assert reason_words(Withheld("too few", 0, 1)).endswith("(0 of the 1 needed).")

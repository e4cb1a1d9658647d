from __future__ import annotations

import csv
from dataclasses import replace
from io import StringIO
from types import ModuleType
from typing import Any

import pytest

from miner.core.results import CautionText, Counts, Evidence, OutcomeSummary, Withheld
from miner.render.terminal import render
from miner.render.values import ranking_csv
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.ranking import ranking_parts
from miner.words.sentences import withheld_words
from miner.words.teller import HypothesisTeller

REST = """\
We could not tell: 0. We looked and saw little sign: 0. With habits taken
together, 212 questions were asked. Where nothing is true, a list like this
calls something clear in about 5 of 100 months. A difference of 34 min in time
above your range would be found 80 times in 100. Smaller ones are found less
often.
"""


def standing(samples: ModuleType, rules: RuleBook) -> tuple[CautionText, ...]:
    always: tuple[CautionText, ...] = samples.cautions("always", *rules.cautions.always)
    return (*always, *samples.cautions("patterns", *rules.cautions.with_patterns))


def told(ranking: Any, rules: RuleBook, **options: Any) -> str:
    return render(ranking_parts(ranking, rules, **options))


def test_one_claim_is_told_on_one_screen(samples: ModuleType, rules: RuleBook) -> None:
    item = samples.hypothesis(travels_with=("late_dinner", "tag:rain"))
    assert (
        told(samples.ranking(item), rules)
        == f"""\
One pattern is clear enough to test.
client-07, 2026-03-01 to 2026-04-02: 30 usable days, 3 left out.

Clear enough to test.
  After 9 short nights, 5 mornings were in the client's higher quarter for
  waking glucose. After 19 other nights, 2 were.
    waking glucose +8.4 mg/dL (+0.8 to +16.0); on new days +5.2; ID 3fa9c1d2
    Luck alone would show something this strong in about 2 of 100 months.
    Often along with it: a late dinner, {rules.factor("tag:rain").phrase}.

{REST}"""
    )


BACKWARDS = "It could also run the other way round."


# Contract: what is clear says in its own headline that it could run backwards; a hint beside it.
@pytest.mark.parametrize("evidence", [Evidence.CLEAR, Evidence.HINT])
def test_what_could_run_backwards_says_so_once(
    samples: ModuleType, rules: RuleBook, evidence: Evidence
) -> None:
    item = samples.hypothesis(
        relation="same_day", outcome="day_mean", evidence=evidence, could_run_backwards=True
    )
    (item,) = samples.ranking(item).hypotheses
    head, *others = HypothesisTeller(rules, Amounts()).parts(item)
    assert (BACKWARDS in render([head], 2000)) == (evidence is Evidence.CLEAR)
    assert render([head, *others], 2000).count(BACKWARDS) == 1


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
        "By luck alone, search and fixed questions show something clear in up to 8.8 of 100 months."
    )
    assert both in " ".join(told(asked, rules).split())
    # the fixed questions alone may be called clear, by a level shared with the other unit
    alone = replace(asked, second_look=True, clear_by_chance=0.0375)
    text = " ".join(told(alone, rules).split())
    assert both.replace("8.8", "3.8") in text
    assert usual not in text


def test_mmol_is_shown_to_who_reads_mmol(samples: ModuleType, rules: RuleBook) -> None:
    text = told(samples.ranking(samples.hypothesis()), rules, display_unit="mmol/L")
    # 8.4, 0.8, 16.0 and 5.2 mg/dL over 18.0156
    assert "waking glucose +0.47 mmol/L (+0.04 to +0.89); on new days +0.29" in text
    assert "mg/dL" not in text
    assert "difference of 34 min" in text


def test_reasons_to_refer_come_before_any_pattern(samples: ModuleType, rules: RuleBook) -> None:
    asks = rules.cautions.not_asked.format(names="pregnancy")
    cautions = (
        *standing(samples, rules),
        *samples.cautions("not_asked", asks),
        samples.to_be_told("intake", rules.cautions.intake["lows"].when_yes),
    )
    lines = told(samples.ranking(samples.hypothesis(), cautions=cautions), rules).splitlines()
    assert lines[:5] == [
        "REFER FIRST.",
        "  ! Lows or fainting: refer before anything else. Tell the client to see a",
        "  clinician.",
        "  Waiting: all tests. Once informed, tests of sleep and stress open; movement",
        "  and meals wait for agreement. Note the date on which the client was told:",
    ]
    assert lines.index("For you only, until the client was told:") > 5
    verdict = lines.index("One pattern is clear enough to test.")
    assert verdict < lines.index(
        "Not asked: pregnancy. Ask before the session, and note the answers in"
    )
    assert lines[-1].endswith("for that reason alone.")


def test_without_a_reason_to_refer_the_month_leads(samples: ModuleType, rules: RuleBook) -> None:
    text = told(samples.ranking(samples.hypothesis(), cautions=standing(samples, rules)), rules)
    assert text.startswith("One pattern is clear enough to test.\n")


def test_at_most_three_hints_and_what_chance_gives(samples: ModuleType, rules: RuleBook) -> None:
    hints = [samples.hypothesis(id=f"id-{n}", evidence=Evidence.HINT) for n in range(5)]
    text = told(samples.ranking(*hints), rules)
    assert [f"id-{n}" in text for n in range(5)] == [True, True, True, False, False]
    assert "Shown: 3 of 5. By chance alone there would be about 1.4." in text
    assert "A hint, no more.\n" in text
    assert "Clear enough to test.\n" not in text


def test_the_luck_of_weak_hints_is_told_once(samples: ModuleType, rules: RuleBook) -> None:
    luck = "weak. Luck alone shows something as strong in at least 50 of 100 months."

    def hints(*adjusted: float) -> str:
        items = [
            samples.hypothesis(id=f"id-{p}", evidence=Evidence.HINT, p_adjusted=p) for p in adjusted
        ]
        text = " ".join(told(samples.ranking(*items, hints_by_chance=0.4), rules).split())
        told_each = [item.luck_sentence for item in items]
        assert [each in text for each in told_each] == [p < 0.5 for p in adjusted]
        return text

    assert luck not in hints(0.2, 0.3, 0.49)
    assert f"The last hint is {luck}" in hints(0.2, 0.3, 0.5)
    assert f"The last 2 hints are {luck}" in hints(0.2, 0.6, 0.7)
    assert f"These hints are {luck}" in hints(0.5, 0.6, 0.7)
    assert f"This hint is {luck}" in hints(1.0)


def test_hints_that_chance_alone_would_give_are_called_so(
    samples: ModuleType, rules: RuleBook
) -> None:
    hints = [samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.3)] * 2
    text = told(samples.ranking(*hints, hints_by_chance=1.5), rules)
    line = "No more than luck would give (2 found, about 2 expected): a short night with higher "
    assert line in " ".join(text.split())
    assert hints[0].sentence not in " ".join(text.split())
    parts = ranking_parts(samples.ranking(*hints, hints_by_chance=1.5), rules, detail=True)
    full = " ".join(render(parts, 100).split())
    assert "Shown: 2 of 2, no more than chance alone would give (about 2)." in full
    assert hints[0].sentence in full
    passed = samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.01)
    weak = samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.4)
    both = " ".join(told(samples.ranking(passed, weak, hints_by_chance=2.0), rules).split())
    assert both.count(passed.sentence) == 1
    beyond = told(samples.ranking(*hints, hints_by_chance=1.4), rules)
    assert "no more than chance" not in beyond
    assert "By chance alone there would be about 1.4." in beyond
    unknown = told(samples.ranking(*hints, hints_by_chance=None), rules)
    assert "chance" not in unknown


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


def test_a_date_the_ledger_does_not_show_is_as_told(samples: ModuleType, rules: RuleBook) -> None:
    item = samples.hypothesis(
        family="fixed", fixed_on="2026-02-01", fixed_proven=False, guess="down"
    )
    text = told(samples.ranking(item), rules)
    assert "Fixed on 2026-02-01, as told. The guess was down." in text
    proven = told(samples.ranking(replace(item, fixed_proven=True, guess=None)), rules)
    assert "Fixed on 2026-02-01.\n" in proven
    assert "guess" not in proven


def test_one_screen_holds_a_claim_and_three_hints(samples: ModuleType, rules: RuleBook) -> None:
    hints = [samples.hypothesis(evidence=Evidence.HINT)] * 5
    many = [samples.hypothesis(evidence=Evidence.CANNOT_TELL)] * 200
    ranking = samples.ranking(
        samples.hypothesis(), *hints, *many, cautions=standing(samples, rules)
    )
    assert len(told(ranking, rules).splitlines()) <= 40


def test_the_rest_is_counted_not_listed(samples: ModuleType, rules: RuleBook) -> None:
    rest = [samples.hypothesis(id="hidden", evidence=Evidence.CANNOT_TELL)] * 4
    rest += [samples.hypothesis(id="hidden", evidence=Evidence.LITTLE_SIGN)] * 2
    text = told(samples.ranking(*rest), rules)
    assert "We could not tell: 4. We looked and saw little sign: 2." in text
    assert "hidden" not in text


def test_every_fixed_question_is_answered(samples: ModuleType, rules: RuleBook) -> None:
    item = samples.hypothesis(
        family="fixed",
        evidence=Evidence.CANNOT_TELL,
        difference=None,
        interval=None,
        withheld=Withheld("too few nights with it", 4, 5),
        fixed_on="2026-02-01",
        notes=("More than about 12 is unlikely.",),
    )
    open_one = samples.hypothesis(
        family="fixed", evidence=Evidence.CANNOT_TELL, days_to_settle=40, interval=(-3.0, 12.0)
    )
    text = told(samples.ranking(item, open_one), rules)
    assert (
        """
Your fixed questions
  After 9 short nights, 5 mornings were in the client's higher quarter for
  waking glucose. After 19 other nights, 2 were.
    waking glucose: no difference can be told; ID 3fa9c1d2
    We could not tell.
    Withheld: too few nights with it (have 4, need 5). Fixed on 2026-02-01. More
    than about 12 is unlikely.
  After 9 short nights, 5 mornings were in the client's higher quarter for
  waking glucose. After 19 other nights, 2 were.
    waking glucose +8.4 mg/dL (-3.0 to +12.0); on new days +5.2; ID 3fa9c1d2
    We could not tell.
    In 40 new days, a difference worth acting on would be found 80 times in 100.
"""
        in text
    )
    assert "We could not tell: 0." in text


def test_too_few_days_end_after_the_verdict(samples: ModuleType, rules: RuleBook) -> None:
    verdict = "12 usable days. At least 20 are needed to rank anything."
    ranking = samples.ranking(status="too_few", usable_units=12, need_units=20, outcomes=())
    assert (
        told(ranking, rules)
        == f"{verdict}\nclient-07, 2026-03-01 to 2026-04-02: 12 usable days, 3 left out.\n"
    )


def test_a_second_look_and_what_is_not_ranked_are_told(
    samples: ModuleType, rules: RuleBook
) -> None:
    tied = OutcomeSummary("day_mean", "mg/dL", 5, None, None, 30, Withheld("over half are tied"))
    ranking = samples.ranking(
        outcomes=(tied,), rankings_of_these_records=3, notes=("A second look.",), hypotheses=()
    )
    assert told(ranking, rules).splitlines()[1:] == [
        "client-07, 2026-03-01 to 2026-04-02: 30 usable days, 3 left out. These records",
        "were ranked in 3 ways so far. With each of them luck has one more chance.",
        "A second look.",
        "Not ranked: the day's average. Withheld: over half are tied.",
    ]


def test_detail_adds_every_question(samples: ModuleType, rules: RuleBook) -> None:
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
    text = told(samples.ranking(samples.hypothesis(), other), rules, detail=True)
    assert "P adj: p with every other question counted in." in " ".join(text.split())
    # support 5/28, confidence 5/9, lift (5/9)/(7/28), leverage 5/28 - (9/28)(7/28)
    assert (
        """
waking glucose, mg/dL
  Worth acting on: 5.0 mg/dL. Found 80 times in 100: 9.1 mg/dL. Usual variation:
  7.0 mg/dL.
  habit          with supp lift difference    p      evidence
# ID, lag     without conf  lev interval      p adj  unknown
1 short_sleep  5 of 9 0.18 2.22 +8.4          0.0007 clear
  3fa9c1d2 0  2 of 19 0.56 0.10 +0.8 to +16.0 0.021  2

time above your range, min
  Worth acting on: 20 min. Found 80 times in 100: 34 min. Usual variation: 27
  min.
  habit                        with supp lift difference p     evidence
# ID, lag                   without conf  lev interval   p adj unknown
2 short_sleep + late_dinner  0 of 0    -    - -          -     cannot tell
  b7 0 1                     0 of 0    -    - -          -     30
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
    assert (row["with"], row["interval_low"], row["days_to_settle"]) == ("9", "0.8", "")
    assert (row["ordinary_interval_low"], row["ordinary_interval_high"]) == ("2.9", "13.9")
    unknown = samples.hypothesis(interval=None)
    (other,) = csv.DictReader(StringIO(ranking_csv(samples.ranking(unknown))))
    assert {other[name] for name in other if "interval_" in name} == {""}
    assert not {"interval", "ordinary_interval"} & {*row}
    assert float(row["p"]) == 0.1 + 0.2
    assert ranking_csv(samples.ranking()) == "id\n"


def test_shares_are_told_as_percent_and_counts_as_counts() -> None:
    tied = withheld_words(Withheld("more than half the values are the same", 1.0, 0.5))
    assert tied.endswith("are the same (100 %; at most 50 % would do).")
    kept = withheld_words(Withheld("cannot be told apart from the weekend", 0.043, 0.1))
    assert kept.endswith("the weekend (4 %; at least 10 % would do).")
    assert withheld_words(Withheld("too few", 0, 1)).endswith("(have 0, need 1).")


def test_a_record_of_another_length_than_a_month_is_called_by_it(
    samples: ModuleType, rules: RuleBook
) -> None:
    weak = samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.6)
    ranking = samples.ranking(weak, hints_by_chance=0.3, days=103)
    words = " ".join(told(ranking, rules).split())
    assert "calls something clear in about 5 of 100 records of 103 days." in words
    shared = "Luck alone shows something as strong in at least 50 of 100 records of 103 days."
    assert shared in words
    assert "month" not in words

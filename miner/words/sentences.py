"""The sentence of each result, in counts, in the words of the rule book."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor
from typing import Any

from miner.core.messages import MinerError, several
from miner.core.results import DoubtCode, ErrorRate, Evidence, Hypothesis, Ranking, Shape, Together
from miner.rulebook import FactorRule, RuleBook
from miner.words.amounts import Amounts
from miner.words.labels import on_a_told_date, outcome_label, withheld_words
from miner.words.safe import clean
from miner.words.wording import full_date

ABOUT_A_MONTH = (24, 38)
"""Days of a record that may be called a month."""
OFTEN = 2
"""How many times the claim level is so often that a client's own week may be behind it."""
_UNDEFINED = {
    "stats.no_factors": "no_habit",
    "stats.no_factor_varies": "no_habit",
    "stats.average_never_wrong": "no_change",
}
"""Which sentence tells why it is undefined whether all habits foretell anything, by its reason."""


def say(rules: RuleBook, table: str, key: str, **values: object) -> str:
    """Return a sentence of ``wording.toml`` with its braces filled in.

    Raises:
        MinerError: the book does not have it, or asks for something that is not known.
    """
    try:
        return str(rules.wording[table][key]).format(**values)
    except (KeyError, TypeError, IndexError, ValueError) as error:
        raise MinerError(
            f"the sentence {key} of [{table}] is missing or cannot be filled in ({error})",
            f"a sentence with no braces but {', '.join(values) or 'none'}",
            "Copy that key from the wording.toml that ships.",
            file="wording.toml",
        ) from error


def client_always(rules: RuleBook, days: str = "days") -> list[str]:
    """Return what a client is always told.

    Args:
        rules: the rule books.
        days: how long the record is, in words; without a record no number is told.
    """
    return [text.replace("{days}", days) for text in rules.cautions.client_always]


def together_sentence(found: Together, rules: RuleBook, unit: str) -> str:
    """Return whether all habits together foretold later units better than the average did."""
    if found.better is None:
        key = _UNDEFINED.get(getattr(found.reason, "code", ""), "too_few")
        return say(rules, "together", key, units=f"{unit}s")
    key = "better" if found.better else "no_better"
    units = several(found.units_held_back, f"later {unit}")
    return say(rules, "together", key, units=units, nearer=found.nearer)


def verdict(ranking: Ranking, rules: RuleBook, amounts: Amounts | None = None) -> str:
    """Return what the records say, in one line; of nothing found, what they could have shown.

    Args:
        ranking: what was found.
        rules: the rule books.
        amounts: the unit that is shown.
    """
    if ranking.status == "too_few":
        usable = several(ranking.usable_units, f"usable {ranking.unit}")
        return say(rules, "rank", "too_few", usable=usable, need=ranking.need_units)
    if ranking.questions_asked == 0 or _untested(ranking):
        closed = bool(ranking.outcomes) and all(item.withheld for item in ranking.outcomes)
        key = "unrankable" if closed else "unasked"
        return say(rules, "rank", key, units=f"{ranking.unit}s")
    claims = [item for item in ranking.hypotheses if item.evidence is Evidence.CLEAR]
    clear = [item for item in claims if not item.small]
    if clear:
        return _clear(clear, rules)
    small = "small_" if claims else ""
    hints = [item for item in ranking.hypotheses if item.evidence is Evidence.HINT]
    fixed = sum(item.family == "fixed" for item in hints)
    searched = len(hints) - fixed
    shown = min(searched, rules.guardrails.hints_shown)
    # What passed the claim level and failed another check is more than a hint of chance.
    passed = sum(
        item.family != "fixed"
        and item.p_adjusted is not None
        and item.p_adjusted <= ranking.claim_level
        for item in hints
    )
    worth = fixed + (min(passed, shown) if no_more_than_chance(ranking, searched) else shown)
    if worth:
        key = "hint_one" if worth == 1 else "hint_many"
        return say(rules, "rank", f"{small}{key}", count=worth)
    if small:
        return say(rules, "rank", "small_only")
    if could_have_shown(ranking, rules):
        return say(rules, "rank", "nothing")
    main = next((o for o in ranking.outcomes if o.name == ranking.primary_outcome), None)
    if main is None or main.detectable is None:
        return say(rules, "rank", "could_not_tell_anything")
    show, label = amounts or Amounts(), outcome_label(main.name, rules, ranking.unit)
    size = f"{show.size(main.detectable, main.unit)} {show.unit(main.unit)}"
    return say(rules, "rank", "could_not_tell", size=size, label=label)


def _clear(clear: Sequence[Hypothesis], rules: RuleBook) -> str:
    """Return how many are clear, and how many only if a date is as somebody says."""
    told = [item for item in clear if on_a_told_date(item)]
    number = "one" if len(clear) == 1 else "many"
    if len(told) == len(clear):
        day = full_date(told[0].fixed_on or "")
        return say(rules, "rank", f"if_{number}", count=len(clear), day=day)
    said = say(rules, "rank", f"clear_{number}", count=len(clear))
    return f"{said} {say(rules, 'rank', 'if_others', count=len(told))}" if told else said


def could_have_shown(ranking: Ranking, rules: RuleBook) -> bool:
    """Say whether something would have stood out: of enough single habits little sign was seen."""
    singles = [item for item in ranking.hypotheses if len(item.factors) == 1 and item.p is not None]
    little = sum(item.evidence is Evidence.LITTLE_SIGN for item in singles)
    return little > 0 and little >= rules.guardrails.least_share_little_sign * len(singles)


def _untested(ranking: Ranking) -> bool:
    return bool(ranking.hypotheses) and all(item.p is None for item in ranking.hypotheses)


def not_ranked(ranking: Ranking, rules: RuleBook) -> list[str]:
    """Return which outcomes could not be ranked, each with its reason."""
    return [
        say(rules, "rank", "not_ranked", label=outcome_label(item.name, rules, ranking.unit))
        + f" {withheld_words(item.withheld)}"
        for item in ranking.outcomes
        if item.withheld
    ]


def against_guess(item: Hypothesis, rules: RuleBook) -> str:
    """Return that a difference went against the guess of its fixed question, or nothing."""
    doubted = any(doubt.code is DoubtCode.OTHER_WAY for doubt in item.doubts)
    if item.guess not in ("up", "down") or not item.difference or doubted:
        return ""
    way = "up" if item.difference > 0 else "down"
    if way == item.guess:
        return ""
    told = item.evidence in (Evidence.CLEAR, Evidence.HINT)
    return say(rules, "fixed", f"{'other_way' if told else 'so_far'}_{way}")


def less_than_worth(item: Hypothesis, rules: RuleBook, amounts: Amounts, unit: str) -> str:
    """Return of a small claim that less is expected on new units than is worth acting on.

    Args:
        item: a hypothesis.
        rules: the rule books.
        amounts: the unit that is shown.
        unit: "day" or "meal".
    """
    rule = rules.outcomes.get(rules.key_of(item.outcome, unit))
    if rule is None or not item.small:
        return ""
    size = f"{amounts.size(rule.smallest_worth_it, item.unit)} {amounts.unit(item.unit)}"
    return say(rules, "worth", "less_on_new", units=f"{unit}s", worth=size)


def no_more_than_chance(ranking: Ranking, hints: int) -> bool:
    """Return whether so many hints of the search are what chance alone would give."""
    by_chance = ranking.hints_by_chance
    return hints == 0 or (by_chance is not None and hints <= floor(by_chance + 0.5))


def each_more(item: Hypothesis, rules: RuleBook, unit: str = "day") -> str:
    """Return what the difference of a dose is for: "each hour less sleep"; of a cut nothing."""
    if item.shape is not Shape.DOSE:
        return ""
    return rules.factor(item.factors[0], unit).each or ""


def sentence(
    item: Hypothesis, rules: RuleBook, unit: str = "day", amounts: Amounts | None = None
) -> str:
    """Return the slope of a dose, then the counts as natural frequencies, misses beside hits.

    What is clear and could run backwards says so here, so that nobody reads it without that.

    Args:
        item: what was counted.
        rules: the rule books.
        unit: "day" or "meal".
        amounts: the unit that is shown.
    """
    counted = _against_counts(item, rules, unit, amounts) or _counted(item, rules, unit)
    slope = _slope(item, rules, unit, amounts or Amounts())
    both = item.counts.with_ and item.counts.without
    said = [slope, counted] if both or not slope else [slope]
    if item.evidence is Evidence.CLEAR and item.could_run_backwards:
        said.append(say(rules, "sentence", "backwards"))
    return " ".join(text for text in said if text)


def _slope(item: Hypothesis, rules: RuleBook, unit: str, show: Amounts) -> str:
    """Return what each amount more of a dose came before or went with; of a cut nothing."""
    each = each_more(item, rules, unit)
    if not each or item.difference is None:
        return ""
    relation = "same_day" if unit == "meal" else item.relation
    return say(
        rules,
        "sentence",
        f"dose_{relation}",
        each=each[:1].upper() + each[1:],
        size=f"{show.size(abs(item.difference), item.unit)} {show.unit(item.unit)}",
        way="more" if item.difference > 0 else "less",
        label=rules.outcome(item.outcome, unit).label,
    )


def _against_counts(item: Hypothesis, rules: RuleBook, unit: str, amounts: Amounts | None) -> str:
    """Return the means where counts of high units point against the difference; else nothing."""
    counts, outcome = item.counts, rules.outcome(item.outcome, unit)
    if not counts.with_ or not counts.without or not item.difference or item.means is None:
        return ""
    more = counts.with_high / counts.with_ - counts.without_high / counts.without
    worse = item.difference if outcome.worse == "higher" else -item.difference
    if len(item.factors) > 1 or more * worse >= 0:
        return ""
    factor, show = rules.factor(item.factors[0], unit), amounts or Amounts()
    with_, without = item.means
    said = say(
        rules,
        "sentence",
        "means_same_day" if unit == "meal" or item.relation == "same_day" else "means",
        with_factor=several(counts.with_, factor.with_one, factor.with_many),
        without_factor=several(
            counts.without, factor.without_one or factor.without_many, factor.without_many
        ),
        label=outcome.label,
        mean_with=show.level(with_, item.unit),
        mean_without=show.level(without, item.unit),
        unit=show.unit(item.unit),
    )
    turned = (with_ - without) * item.difference < 0
    return f"{said} {say(rules, 'sentence', 'turned')}" if turned else said


def _counted(item: Hypothesis, rules: RuleBook, unit: str) -> str:
    outcome = rules.outcome(item.outcome, unit)
    factors = [rules.factor(name, unit) for name in item.factors]
    counts = item.counts
    if counts.known == 0:
        return say(rules, "sentence", "no_units", unit=unit)
    high = {
        "label": outcome.label,
        "high": _were(counts.with_high),
        "units_high": _were(counts.with_high, outcome.units_one, outcome.units_many),
        "without_high": _were(counts.without_high),
    }
    # A factor of a meal is part of it: the meal does not come after itself.
    relation = "same_day" if unit == "meal" else item.relation
    if len(factors) > 1:
        times = "once" if counts.with_ == 1 else f"{counts.with_} times"
        return say(
            rules,
            "sentence",
            f"together_{relation}",
            factors=_together(factors),
            times=times,
            without=counts.without,
            **high,
        )
    factor = factors[0]
    without_one = factor.without_one or factor.without_many
    return say(
        rules,
        "sentence",
        relation,
        **high,
        with_factor=several(counts.with_, factor.with_one, factor.with_many),
        without_factor=several(counts.without, without_one, factor.without_many),
    )


def spans_of(days: int) -> str:
    """Return what records of so many days are called, many of them; 0 is not known."""
    low, high = ABOUT_A_MONTH
    month = not days or low <= days <= high
    return "months" if month else f"spans of {several(days, 'day')}"


def luck(item: Hypothesis, rules: RuleBook, days: int = 0) -> str:
    """Return how often pure luck alone would show something this strong.

    Args:
        item: what was found.
        rules: the rule books.
        days: how long the record is.
    """
    if item.p_adjusted is None or item.p is None:
        return ""
    alone = item.family == "fixed" and item.fixed_before is not False
    family = "fixed" if alone else "search"
    share = item.p if alone else item.p_adjusted
    count = round(100 * share)
    key = f"{family}_rare" if count < 1 else family
    return say(rules, "luck", key, count=count, spans=spans_of(days))


def error_rate_sentence(found: ErrorRate, rules: RuleBook) -> str:
    """Return how often this analysis would claim something where nothing is true."""
    if found.worlds == 0 or found.any_claim_interval is None:
        need = rules.guardrails.fewest_days_to_rank
        usable = several(found.usable_units, "usable day")
        return say(rules, "error_rate", "too_few", usable=usable, need=need)
    low, high = found.any_claim_interval
    told = say(
        rules,
        "error_rate",
        "rate",
        records=several(found.worlds, "record"),
        claimed=found.claimed,
        low=floor(100 * low),
        high=ceil(100 * high),
    )
    if not found.moved:
        return told
    often = found.moved_claimed > OFTEN * found.nominal * found.moved
    weeks = say(
        rules,
        "error_rate",
        "weeks_often" if often else "weeks",
        claimed=found.moved_claimed,
        records=several(found.moved, "record"),
    )
    return f"{told} {weeks}"


def _together(factors: list[FactorRule]) -> str:
    *others, last = [factor.phrase for factor in factors]
    text = f"{', '.join(others)} and {last}"
    return text[:1].upper() + text[1:]


def _were(count: int, one: str = "", many: str = "") -> str:
    text = f"1 {one} was" if count == 1 else f"{count} {many} were"
    return " ".join(text.split())


def ended_words(status: str | None, rules: RuleBook) -> str:
    """Return the sentence of a status; one that no rule book knows stands as it is.

    Args:
        status: of a verdict; ``changed_worse`` where a test changed for the worse.
        rules: the rule books, for the words.
    """
    try:
        return say(rules, "tried", str(status))
    except MinerError:
        return clean(status or "", 40)


def way_words(as_: Any, rules: RuleBook) -> str:
    """Return how an idea is kept, as words after "kept"; a way that no rule book knows as it is."""
    try:
        return say(rules, "ways", str(as_))
    except MinerError:
        return clean(as_, 20)

"""The sentence of each result, in counts, in the words of the rule book."""

from __future__ import annotations

from dataclasses import replace

from miner.results import ErrorRate, Evidence, Hypothesis, Ranking
from miner.rulebook import RuleBook


def with_words(ranking: Ranking, rules: RuleBook) -> Ranking:
    """Return the ranking with its verdict and every hypothesis with its sentences."""
    told = tuple(
        replace(item, sentence=sentence(item, rules), luck_sentence=luck(item, rules))
        for item in ranking.hypotheses
    )
    return replace(ranking, hypotheses=told, verdict=verdict(ranking, rules))


def verdict(ranking: Ranking, rules: RuleBook) -> str:
    """Return what the records say, in one line."""
    words: dict[str, str] = rules.wording["rank"]
    if ranking.status == "too_few":
        return words["too_few"].format(
            have=ranking.usable_units, need=ranking.need_units, unit=ranking.unit
        )
    clear = sum(item.evidence is Evidence.CLEAR for item in ranking.hypotheses)
    hints = sum(item.evidence is Evidence.HINT for item in ranking.hypotheses)
    if clear:
        return words["clear_one" if clear == 1 else "clear_many"].format(count=clear)
    if hints:
        shown = min(hints, rules.guardrails.hints_shown)
        return words["hint_one" if shown == 1 else "hint_many"].format(count=shown)
    return words["nothing"]


def sentence(item: Hypothesis, rules: RuleBook) -> str:
    """Return the counts of a hypothesis as natural frequencies, misses beside hits."""
    outcome = rules.outcomes[item.outcome]
    factors = [rules.factor(name) for name in item.factors]
    counts = item.counts
    words: dict[str, str] = rules.wording["sentence"]
    known = {
        "with_": counts.with_,
        "without": counts.without,
        "with_high": _units(counts.with_high, outcome.units_one, outcome.units_many),
        "without_high": _were(counts.without_high),
        "high": _were(counts.with_high),
        "label": outcome.label,
    }
    if len(factors) > 1:
        phrases = [factor.phrase for factor in factors]
        joined = " and ".join([", ".join(phrases[:-1]), phrases[-1]])
        key = f"together_{item.relation}"
        return words[key].format(phrases=_capital(joined), **known)
    factor = factors[0]
    with_words = factor.with_one if counts.with_ == 1 else factor.with_many
    return words[item.relation].format(
        with_words=with_words, without_words=factor.without_many, **known
    )


def luck(item: Hypothesis, rules: RuleBook) -> str:
    """Return how often pure luck alone would show something this strong."""
    if item.p_adjusted is None or item.p is None:
        return ""
    words: dict[str, str] = rules.wording["luck"]
    family = "fixed" if item.family == "fixed" else "search"
    share = item.p if item.family == "fixed" else item.p_adjusted
    count = round(100 * share)
    return words[f"{family}_rare" if count < 1 else family].format(count=count)


def error_rate_sentence(found: ErrorRate, rules: RuleBook) -> str:
    """Return how often this analysis would claim something where nothing is true."""
    words: dict[str, str] = rules.wording["error_rate"]
    if found.worlds == 0 or found.any_claim_interval is None:
        return words["too_few"].format(
            have=found.usable_units, need=rules.guardrails.fewest_days_to_rank
        )
    low, high = found.any_claim_interval
    return words["rate"].format(
        claimed=found.claimed, worlds=found.worlds, low=round(100 * low), high=round(100 * high)
    )


def _units(count: int, one: str, many: str) -> str:
    return f"1 {one} was" if count == 1 else f"{count} {many} were"


def _were(count: int) -> str:
    return "1 was" if count == 1 else f"{count} were"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]

"""The words of the practitioner's own page: fifteen minutes before the session."""

from __future__ import annotations

from typing import Any

from miner.core.messages import several
from miner.core.results import Evidence, Hypothesis, Severity
from miner.core.results.briefing import DayPicture
from miner.core.results.follow import KeptResult
from miner.words.amounts import chance, fixed
from miner.words.cautions import LAST
from miner.words.check import finding_words
from miner.words.follow import kept_lines, kept_title
from miner.words.plan import result_doubts
from miner.words.safe import clean
from miner.words.sentences import (
    evidence_of,
    evidence_words,
    factor_phrase,
    less_than_worth,
    not_ranked,
    way_words,
)
from miner.words.teller import Teller
from miner.words.wording import capital, day_name, full_date, say

_ORDER = (Severity.STOP, Severity.QUESTION, Severity.LEFT_OUT, Severity.NOTE)
KNOWN_ENOUGH = 2 / 3
FEW_NOTES = 1
MOST_FIRST = 8


def preparation(teller: Teller) -> dict[str, Any]:
    """Return the words of the practitioner's own page; each hypothesis chosen with its teller."""
    ranking = teller.brief.ranking
    return {
        **teller.facts(),
        "verdict": teller.verdict,
        "ranked_before": ranked_before(teller),
        "notes": _notes(teller),
        "kept": kept_before(teller),
        "lead": teller.cautions.lead,
        "urgent": teller.cautions.headline(),
        "settled": teller.cautions.settled(),
        "beside": teller.cautions.notes(),
        "always": teller.cautions.texts(LAST),
        "findings": _findings(teller),
        "not_usable": _not_usable(teller),
        "ask_about": ask_about(teller),
        "may_be_said": may_be_said(teller),
        "groups": _groups(teller),
        "cards": [(one, item) for one in teller.each() for item in one.chosen()],
        "meals": _meals(teller),
        "times": teller.by_clock(),
        "range": _range(teller),
        "tried": _tried(teller),
        "log_better": log_better(teller),
        "shared": _shared(teller),
        "rest": [detailed(item, teller) for item in ranking.hypotheses],
        "counted": _counted(teller),
    }


def ranked_before(teller: Teller) -> str:
    """Return how often these records were ranked; nothing where it was this once."""
    made = teller.brief.ranking.status != "too_few"
    times = teller.brief.ranking.rankings_of_these_records if made else 0
    both = teller.brief.by_meal is not None
    if times <= 1:
        return ""
    if times == 2 and both:
        return "This page looks at the records twice, by day and by meal; both are counted."
    among = ", by day and by meal among them" if both else ""
    return (
        f"These records were ranked in {times} ways{among}. With each of them, luck is more "
        "likely to show something."
    )


def _meals(teller: Teller) -> dict[str, Any] | None:
    """Return what was found by meal beside a ranking by day, or None without meals."""
    for one in list(teller.each())[1:]:
        ranking = one.brief.ranking
        return {
            "verdict": one.verdict,
            "usable": ranking.usable_units,
            "notes": _notes(one),
            "groups": _groups(one),
            "rest": [detailed(item, one) for item in ranking.hypotheses],
            "counted": _counted(one),
        }
    return None


def _notes(teller: Teller) -> list[str]:
    ranking = teller.brief.ranking
    return [clean(note, 400) for note in (*ranking.notes, *not_ranked(ranking, teller.rules))]


def may_be_said(teller: Teller) -> list[str]:
    """Return what the practitioner may say of these records in the session, and what not."""
    said, cautions = [], teller.cautions
    if cautions.ahead:
        said.append("Show no pattern before the client has been asked to see a clinician.")
    if cautions.stops:
        said.append("Say nothing about food, and show no number.")
    if any(teller.level(level) for level in (Evidence.CLEAR, Evidence.HINT)):
        said.append("Say what came before or went with what, with the counts of both groups.")
        said.append("Call a hint a hint. A pattern has not changed anything before it is tested.")
    else:
        said.append("Say that no habit stood out, and what these days could have shown.")
    said.append("Give no reason: the records do not show why. Change no medicine.")
    return said


def _range(teller: Teller) -> str:
    low, high = (teller.amounts.level(end, "mg/dL") for end in teller.brief.range)
    return f"{low} to {high} {teller.brief.display_unit}"


def _fixed(teller: Teller) -> list[Hypothesis]:
    return [item for item in teller.brief.ranking.hypotheses if item.family == "fixed"]


def _groups(teller: Teller) -> list[tuple[str, list[dict[str, Any]]]]:
    hints = teller.level(Evidence.HINT)
    shown = hints[: teller.rules.guardrails.hints_shown]
    groups = (
        ("Questions written down before", _fixed(teller)),
        ("Clear enough to test", teller.level(Evidence.CLEAR)),
        (_hints_title(teller, len(hints)), shown),
    )
    return [(title, [detailed(item, teller) for item in items]) for title, items in groups]


def _shared(teller: Teller) -> list[tuple[str, str, str]]:
    return [
        (full_date(item.on), item.page, ", ".join(item.ids) or "nothing of the search")
        for item in teller.brief.shared
    ]


def _counted(teller: Teller) -> str:
    closed = sum(item.p is None for item in teller.level(Evidence.CANNOT_TELL))
    rest = f" ({closed} not tested: too few {teller.unit}s, or too much alike)" if closed else ""
    told = [
        f"{evidence_words(level, teller.rules).rstrip('.')}: {len(teller.level(level))}"
        f"{rest if level is Evidence.CANNOT_TELL else ''}."
        for level in Evidence
    ]
    asked = several(teller.brief.ranking.questions_asked, "pattern was", "patterns were")
    return f"{asked} checked, combinations of habits among them. {' '.join(told)}"


def _hints_title(teller: Teller, found: int) -> str:
    chance = teller.brief.ranking.hints_by_chance
    title = "Hints, no more"
    if not found or chance is None:
        return title
    shown = min(found, teller.rules.guardrails.hints_shown)
    return f"{title} ({shown} of {found}; chance alone would give about {chance:.1f})"


def _findings(teller: Teller) -> list[tuple[str, str]]:
    found = teller.brief.check.findings
    return [
        (str(level).replace("_", " "), finding_words(item, 300))
        for level in _ORDER
        for item in found
        if item.severity is level
    ]


def _not_usable(teller: Teller) -> list[tuple[str, str]]:
    by_reason: dict[str, list[str]] = {}
    for day, reason in teller.brief.check.not_usable.items():
        by_reason.setdefault(clean(reason, 200), []).append(day)
    return [
        (several(len(days), "day"), f"{why} ({', '.join(days)})") for why, days in by_reason.items()
    ]


def _tried(teller: Teller) -> list[str]:
    by_id = {item.id: (one, item) for one in teller.each() for item in one.brief.ranking.hypotheses}
    said = [
        f"{one.title(item)}: fixed on {item.fixed_on}; {evidence_of(item, teller.rules).lower()}"
        for one in teller.each()
        for item in _fixed(one)
        if item.fixed_on and item.evidence not in (Evidence.CLEAR, Evidence.HINT)
    ]
    for earlier in teller.brief.earlier:
        found = by_id.get(earlier.id)
        title, now = f"The pattern {clean(earlier.id, 12)}", "not in this ranking."
        if found is not None:
            one, item = found
            words = evidence_of(item, teller.rules)
            title, now = one.title(item), words[:1].lower() + words[1:]
        level = earlier.evidence.replace("_", " ")
        said.append(f"{capital(title)}: {level} on {full_date(earlier.on)}; now: {now}")
    return said


def kept_before(teller: Teller) -> list[dict[str, Any]]:
    """Return everything kept before, the newest first: what it is, how it is kept, what came."""
    return [_kept(item, teller) for item in reversed(teller.brief.kept)]


def _kept(item: KeptResult, teller: Teller) -> dict[str, Any]:
    lines = kept_lines(item, teller.rules, teller.amounts)
    if item.test is not None and item.test.status is not None:
        lines[-1:-1] = result_doubts(item.test, teller.rules, teller.amounts)
    return {
        "id": item.id,
        "title": clean(kept_title(item, teller.rules), 200),
        "how": way_words(item.as_, teller.rules),
        "open": item.open,
        "lines": [clean(line) for line in lines],
    }


def ask_about(teller: Teller) -> tuple[list[str], list[str]]:
    """Return the days to ask about first, and the others.

    First are high days with nothing noted, then high days with rises and no meal noted; of a long
    record only so many as there is time for. Other days with such rises follow.
    """
    bare: list[str] = []
    high: list[str] = []
    others: list[str] = []
    for day in teller.brief.days:
        if not day.usable:
            continue
        if day.high and day.meals + day.tags == 0:
            bare.append(f"{day_name(day.day)}: high, and nothing was noted.")
        elif day.unlogged_rises:
            rises = several(day.unlogged_rises, "rise")
            which = ", high" if day.high else ""
            said = f"{day_name(day.day)}{which}: {rises} with no meal noted ({_noted(day)})."
            (high if day.high else others).append(said)
    first = bare + high
    return first[:MOST_FIRST], first[MOST_FIRST:] + others


def log_better(teller: Teller) -> list[str]:
    """Return the habits known on too few days, the streams that are missing, and thin days."""
    check = teller.brief.check
    said = [
        f"{name}: nothing was recorded." for name, item in check.streams.items() if not item.rows
    ]
    little = sorted(
        (count, factor_phrase(name, teller.rules))
        for name, count in check.known_factors.items()
        if count < KNOWN_ENOUGH * check.usable_days
    )
    said += [
        f"{phrase}: known on {count} of {several(check.usable_days, 'day')}."
        for count, phrase in little
    ]
    thin = [day for day in teller.brief.days if day.usable and day.meals <= FEW_NOTES]
    if thin:
        said.append(f"Meals: one or none noted on {several(len(thin), 'usable day')}.")
    return said


def _noted(day: DayPicture) -> str:
    return f"{several(day.meals, 'meal')} and {several(day.tags, 'tag')} noted"


def detailed(item: Hypothesis, teller: Teller) -> dict[str, Any]:
    """Return everything that is known of a hypothesis, as text."""
    counts = item.counts
    return {
        "id": item.id,
        "title": teller.title(item),
        "food": teller.about_food(item),
        "sentence": clean(teller.sentence(item)),
        "evidence": evidence_of(item, teller.rules),
        "asked": " ".join(teller.hypothesis.fixed(item)) if item.family == "fixed" else "",
        "before": teller.ended(item),
        "size": teller.hypothesis.difference(item),
        "with_": f"{counts.with_high} of {counts.with_}",
        "without": f"{counts.without_high} of {counts.without}",
        "unknown": counts.unknown,
        "p": chance(item.p),
        "p_adjusted": chance(item.p_adjusted),
        "told": [*_numbers(item, teller), *_words(item, teller)],
    }


def _numbers(item: Hypothesis, teller: Teller) -> list[str]:
    amounts, counts = teller.amounts, item.counts
    worth = amounts.size(teller.outcome(item).smallest_worth_it / item.span, item.unit)
    new = item.expected_on_new_days
    text = "" if new is None else f"on new {teller.unit}s {amounts.difference(new, item.unit)}; "
    return [
        f"Difference {teller.hypothesis.difference(item)}; {text}worth acting on from {worth}.",
        f"p {chance(item.p)}, adjusted {chance(item.p_adjusted)}; lift {fixed(counts.lift, 2)}, "
        f"leverage {fixed(counts.leverage, 2)}; unknown {counts.unknown}; "
        f"lag {', '.join(str(lag) for lag in item.lag_days)}.",
    ]


def _words(item: Hypothesis, teller: Teller) -> list[str]:
    told = item.evidence in (Evidence.CLEAR, Evidence.HINT)
    said = [item.luck_sentence] if told else []
    said += [less_than_worth(item, teller.rules, teller.amounts, teller.unit)]
    along, tries = teller.travels(item.travels_with), teller.tries(item)
    said += [f"Often along with it: {', '.join(along)}."] if along else []
    if item.could_run_backwards and item.evidence is not Evidence.CLEAR:
        said.append(say(teller.rules, "sentence", "backwards"))
    if item.days_to_settle:
        further = several(item.days_to_settle, "new day")
        said.append(say(teller.rules, "cannot_tell", "settle", further=further))
    said += teller.reasons(item)
    said += [f"What could be tried: {' '.join(tries)}"] if tries else []
    return [text for text in said if text]

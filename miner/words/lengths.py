"""What a test would take and find before it is agreed on: its lengths side by side, for people."""

from __future__ import annotations

from datetime import date, timedelta

from miner.core.messages import message, several
from miner.core.results import Plan
from miner.core.results.lengths import Length
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import BLANK, Parts, heading, paragraph, table
from miner.words.door import door_now
from miner.words.plan import about, beside, stops, undrawn_days
from miner.words.sentences import factor_words, outcome_label
from miner.words.wording import capital, day_and_month, listed, uncapital


def preview_parts(
    plan: Plan, rules: RuleBook, client: str, *, display_unit: str = "mg/dL", detail: bool = False
) -> Parts:
    """Return a test that is not agreed on: what to expect, its lengths, what else could be done.

    Args:
        plan: what ``plan`` returned, with its lengths.
        rules: the rule books, for the words.
        client: the code of the client.
        display_unit: ``mg/dL`` or ``mmol/L``.
        detail: whether its days are shown, and when to stop.
    """
    amounts = Amounts(display_unit)
    told = [
        heading(title(plan, rules, client)),
        BLANK,
        paragraph(" ".join(expect(plan, rules, amounts))),
        BLANK,
        *_side_by_side(plan, amounts),
        paragraph(" ".join(beyond(plan))),
    ]
    if detail:
        lines = [*about(plan, rules, amounts), *beside(plan, rules)]
        told += [BLANK, *map(paragraph, lines), BLANK, *undrawn_days(plan), BLANK]
        told += [paragraph(rule) for rule in stops(rules)]
    return [*told, *map(paragraph, plan.notes)]


def title(plan: Plan, rules: RuleBook, client: str) -> str:
    """Return what is tried, what is read, and that nothing is saved."""
    change = uncapital(plan.change).rstrip(".")
    outcome = outcome_label(plan.outcome, rules, plan.unit_of)
    return _text("plan_title", client=client, change=change, outcome=outcome)


def expect(plan: Plan, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return what the arms would differ by, and why by so much."""
    if plan.lengths is None:
        return []
    contrast, rule = plan.lengths.contrast, rules.factor(plan.factor, plan.unit_of)
    outcome = rules.outcome(plan.outcome, plan.unit_of)
    better = outcome.less if outcome.worse == "higher" else outcome.more
    values = {
        "it_was": outcome.it_was,
        "size": amounts.level(contrast.size, plan.unit),
        "difference": amounts.level(contrast.difference, plan.unit),
        "unit": amounts.unit(plan.unit),
        "way": better,
        "each": rule.each,
        "many": factor_words(plan.factor, rules, plan.unit_of),
    }
    if contrast.asks is not None:
        more = (rule.helpful == "without") == (outcome.worse == "higher")
        first = f"expect_dose_{'more' if more else 'less'}"
        first = first if contrast.of_claim else "expect_hint_dose"
        asks = _asked(contrast.asks, rule.measure_unit)
        return [_text(first, **values), _text("expect_asks", asks=asks, **values)]
    with_, without = contrast.with_ or 0, contrast.without or 0
    said = {
        "with_": with_,
        "many": values["many"],
        "without": without,
        "others": rule.without_many,
    }
    less = "_less" if values["size"] != values["difference"] else ""
    if contrast.of_claim:
        counts = [_text("expect_counts", **said)]
    else:
        counts = [_text("expect_hint_cut", **values), _text("expect_counts_hint", **said)]
    return [*counts, _text(f"expect_{rule.helpful}{less}", **values)]


def _asked(asks: float, unit: str) -> str:
    return f"{60 * asks:.0f} minutes" if unit == "h" else f"{asks:g} {unit}"


def length_facts(plan: Plan, length: Length, amounts: Amounts) -> list[tuple[str, str]]:
    """Return what a test of one length takes and finds: labels and values."""
    size = amounts.level(plan.lengths.contrast.size if plan.lengths else None, plan.unit)
    unit = amounts.unit(plan.unit)
    finds = f"{amounts.level(length.finds, plan.unit)} {unit}" if length.finds else "none"
    pairs = _text("length_pairs", days=length.period_days)
    if plan.meal:
        pairs = _text("length_pairs_meal", meal=plan.meal)
    elif length.period_days == 1:
        pairs = _text("length_pairs_day")
    return [
        (_text("length_takes"), f"{length.weeks}, {length.sensors}"),
        (pairs, str(length.pairs)),
        (_text("length_power", size=size, unit=unit), _of_100(length.power)),
        (_text("length_finds"), finds),
        (_text("length_last"), day_and_month(length.last_day, short=True)),
    ]


def _side_by_side(plan: Plan, amounts: Amounts) -> Parts:
    if plan.lengths is None or not plan.lengths.lengths:
        return []
    lengths = plan.lengths.lengths
    columns = [length_facts(plan, one, amounts) for one in lengths]
    rows = [
        (label, *(facts[at][1] for facts in columns)) for at, (label, _) in enumerate(columns[0])
    ]
    return [*table(("", *(f">{one.name}" for one in lengths)), rows, indent=0, gap=3), BLANK]


def beyond(plan: Plan) -> list[str]:
    """Return which length is planned if nothing is chosen, what else can be done, and how."""
    offered = plan.lengths
    if offered is None:
        return []
    names = [one.name for one in offered.lengths]
    if not names:
        told = [_text("length_none_fits"), *_instead(plan)]
    elif offered.default is not None:
        told = [_text("length_default", name=capital(offered.default))]
    else:
        told = [_text("length_none"), *_instead(plan)]
    told += [_text("length_stop"), *([] if door_now() else [_text("length_calendar")])]
    agree = "length_agree" if offered.default is not None else "length_all_the_same"
    pairs = [str(one.pairs) for one in offered.lengths]
    return (
        [*told, _text(agree, names=listed(names, "or"), pairs=listed(pairs, "or"))]
        if names
        else told
    )


def _instead(plan: Plan) -> list[str]:
    """Return what watching would find, and that it may be done anyway, or left."""
    offered, told = plan.lengths, []
    if offered is not None and offered.watch_days is not None:
        told.append(_text("length_watch", days=offered.watch_days, id=plan.id))
    elif offered is not None and offered.watch_power is not None:
        power, days = _of_100(offered.watch_power), offered.watched
        enough = offered.watch_power >= ENOUGH
        code = "length_watch_some" if enough else "length_watch_none"
        told.append(_text(code, days=days, power=power, id=plan.id))
    return [*told, _text("length_anyway", id=plan.id)]


ENOUGH = 0.6


def calendar_weeks(plan: Plan) -> list[list[tuple[str, str]]]:
    """Return the days of a plan by week, Monday first: each with what it is; empty beside it."""
    said = {}
    for at, one in enumerate(plan.periods):
        code = "length_day_first" if at % 2 == 0 else "length_day_second"
        day, last = (date.fromisoformat(end) for end in (one.first, one.last))
        while day <= last:
            said[day] = _text(code, pair=one.pair)
            day += timedelta(days=1)
    for change in map(date.fromisoformat, plan.sensor_changes):
        said[change] = _text("length_day_sensor")
    first, last = min(said), max(said)
    monday = first - timedelta(days=first.weekday())
    every = [monday + timedelta(days=at) for at in range((last - monday).days + 1)]
    every += [last + timedelta(days=at) for at in range(1, -len(every) % 7 + 1)]
    cells = [
        (day_and_month(day.isoformat(), short=True), said.get(day, ""))
        if first <= day <= last
        else ("", "")
        for day in every
    ]
    return [cells[at : at + 7] for at in range(0, len(cells), 7)]


def takes_words(length: Length) -> str:
    """Return how long a test is: ``4 weeks, 2 sensors``."""
    return f"{several(length.weeks, 'week')}, {several(length.sensors, 'sensor')}"


def _of_100(share: float) -> str:
    return f"{100 * share:.0f} of 100"


def _text(code: str, **values: object) -> str:
    return str(message(f"words.{code}", **values))

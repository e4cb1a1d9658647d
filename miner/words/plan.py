"""An alternating test and its result, for people."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from miner.core.messages import several
from miner.core.results import Plan, PlanPeriod, PlanResult
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import Parts, heading, paragraph, table
from miner.words.sentences import difference_words, factor_phrase, outcome_label, result_size
from miner.words.wording import dated, first_days, say

ARMS = {"change": "A, the change", "usual": "B, as usual"}


def plan_parts(plan: Plan, rules: RuleBook, *, display_unit: str = "mg/dL") -> Parts:
    """Return a plan that was agreed on: what it takes and can show first, then the calendar.

    Args:
        plan: what ``plan`` returned.
        rules: the rule books, for the words.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    name = factor_phrase(plan.factor, rules, plan.unit_of)
    label = outcome_label(plan.outcome, rules, plan.unit_of)
    lines = [*about(plan, rules, Amounts(display_unit)), *what_to_do(plan, rules)]
    example = f"{plan.periods[0].first},{plan.plan},yes"
    notes = [say(rules, "plan", "ticks", example=example), *map(str, plan.notes)]
    return [
        heading(f"Plan {plan.plan}: {name}, {label}"),
        *(paragraph(line) for line in lines),
        paragraph(""),
        *_days(plan),
        paragraph(""),
        *(paragraph(line) for line in [*stops(rules), *notes]),
    ]


def _days(plan: Plan) -> Parts:
    """Return the periods with their letters."""
    rows = [
        (str(one.pair), one.first, one.last, ARMS[one.arm], str(one.leave_out_days or ""))
        for one in plan.periods
    ]
    return table((">pair", "from", "to", "", ">not counted"), rows)


def undrawn_days(plan: Plan) -> Parts:
    """Return the pairs of a plan before its coins are thrown."""
    pairs = zip(plan.periods[::2], plan.periods[1::2], strict=True)
    spans = [(str(a.pair), _span(a), _span(b)) for a, b in pairs]
    return table((">pair", "one period", "the other"), spans)


def _span(one: PlanPeriod) -> str:
    return one.first if one.first == one.last else f"{one.first} to {one.last}"


def about(plan: Plan, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return what a plan takes and what it can show."""
    values = {
        "pairs": plan.pairs,
        "days": several(plan.period_days, "day"),
        "weeks": several(plan.weeks, "week"),
        "sensors": several(plan.sensors, "sensor"),
        "worth": amounts.size(plan.worth_having, plan.unit),
        "power": round(100 * plan.power_at_worth_having),
        "detectable": amounts.size(plan.detectable, plan.unit),
        "unit": amounts.unit(plan.unit),
        "read_on": plan.read_on,
    }
    reach = "detectable" if plan.detectable is not None else "never_detectable"
    return [say(rules, "plan", key, **values) for key in ("size", "reach", reach, "read_on")]


def tested_question(plan: Plan, rules: RuleBook) -> str:
    """Return the question that a test answers."""
    label = outcome_label(plan.outcome, rules, plan.unit_of)
    return say(rules, "plan", "question", label=label)


def what_to_do(plan: Plan, rules: RuleBook) -> list[str]:
    """Return what is done on which days."""
    arms = [say(rules, "plan", "change", change=plan.change), say(rules, "plan", "usual")]
    return [*arms, *beside(plan, rules)]


def beside(plan: Plan, rules: RuleBook) -> list[str]:
    """Return which days are not counted, and when a new sensor is put on."""
    lines = [say(rules, "plan", "meal", meal=plan.meal)] if plan.meal else []
    dropped = max(one.leave_out_days for one in plan.periods)
    if dropped:
        key = "leave_out_one" if dropped == 1 else "leave_out"
        lines.append(say(rules, "plan", key, days=several(dropped, "day")))
    if plan.sensor_changes:
        changes = first_days(plan.sensor_changes, len(plan.sensor_changes))
        lines.append(say(rules, "plan", "sensor", days=changes))
    return lines


STOPS = ("stop_unwell", "stop_worry", "stop_ill", "missed")


def stops(rules: RuleBook) -> list[str]:
    """Return when a test is stopped, and what a missed day is, in the words of these rule books."""
    return [say(rules, "plan", key) for key in STOPS]


def result_sentence(found: PlanResult, rules: RuleBook, unread: str = "waiting") -> str:
    """Return what a test showed, in the words of its level.

    Args:
        found: as read.
        rules: the rule books, for the words.
        unread: what is said where there is no status: waiting, due, no_pair, all_late,
            none_counts, paused, given_up or never_begun.
    """
    read = found.status is not None
    stopped = read and found.stopped_early and found.pairs_used < found.planned_pairs
    keys = [result_key(found, rules) if read else unread]
    keys += ["no_interval"] * (read and found.interval is None)
    keys += ["stopped"] * stopped
    none = unread in ("all_late", "none_counts")
    late, paused = (0, 0) if none and not read else (found.late_pairs, found.paused_pairs)
    values = {"read_on": dated(found.read_on), "planned": found.planned_pairs}
    said = [say(rules, "result", key, pairs=found.pairs_used, **values) for key in keys]
    if late:
        said.append(say(rules, "result", "late_pairs", pairs=several(late, "pair")))
    if paused and not found.paused:  # while it waits, pairs still to come are among them
        said.append(say(rules, "result", "paused_pairs", pairs=several(paused, "pair")))
    if not found.proven:
        said.append(say(rules, "follow", "not_proven"))
    return " ".join(said)


def result_parts(found: PlanResult, rules: RuleBook, *, display_unit: str = "mg/dL") -> Parts:
    """Return a result: the sentence, as planned, beside it as followed.

    Args:
        found: what ``result`` returned.
        rules: the rule books, for the words.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    name = factor_phrase(found.factor, rules, found.unit_of)
    label = outcome_label(found.outcome, rules, found.unit_of)
    parts: Parts = [heading(found.sentence), paragraph(f"Plan {found.plan}: {name}, {label}.")]
    parts += [paragraph(str(pause)) for pause in found.pauses]
    if found.status is not None:
        parts += [paragraph(line) for line in result_lines(found, rules, Amounts(display_unit))]
    if found.put_aside:
        count = several(found.put_aside, "earlier order")
        parts.append(paragraph(say(rules, "plan", "put_aside", count=count)))
    if found.ticks_and_records_differ:
        days = several(found.ticks_and_records_differ, "day")
        parts.append(paragraph(say(rules, "result", "differ", days=days)))
    return [*parts, *(paragraph(str(note)) for note in found.notes)]


def result_key(found: PlanResult, rules: RuleBook) -> str:
    """Return the status of a test that was read; one that made it worse is told apart."""
    if found.status != "changed" or found.difference is None:
        return str(found.status)
    worse = rules.outcome(found.outcome, found.unit_of).worse
    return "changed_worse" if (found.difference > 0) == (worse == "higher") else "changed"


def result_lines(found: PlanResult, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return the numbers of a result that was read, a line at a time."""
    return [*result_size(found, rules, amounts), *result_doubts(found, rules, amounts)]


def result_doubts(found: PlanResult, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return how often luck gives as much, and what was found where the plan was followed."""
    lines, beside = [], found.as_followed
    if found.p is not None:
        lines.append(say(rules, "result", "luck", chance=round(100 * found.p)))
    if beside.difference is None:
        lines.append(say(rules, "result", "followed_none"))
    elif beside.pairs_used != found.pairs_used:
        size = difference_words(beside.difference, beside.interval, found.unit, rules, amounts)
        lines.append(say(rules, "result", "followed", pairs=beside.pairs_used, **size))
    if found.pairs_not_followed:
        pairs = several(found.pairs_not_followed, "pair")
        lines.append(say(rules, "result", "not_followed", pairs=pairs))
    return lines


LETTERS = {"change": "A", "usual": "B"}


def plan_calendar(plan: Plan, rules: RuleBook) -> bytes:
    """Return one all-day event a period, and one a sensor change; the same plan, the same bytes.

    Titles are "A", "B" and "S": a calendar is often shown to others. The description of an event
    is the question of each of its days, and tells nothing of any outcome.

    Args:
        plan: what ``plan`` returned.
        rules: the rule books, for the words.

    Source: RFC 5545, sections 3.4, 3.6.1 and 3.8.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//miner//plan//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    stamp = datetime.combine(date.fromisoformat(plan.periods[0].first), time(), UTC)
    asked = {arm: say(rules, "plan", f"ask_{arm}", change=plan.change) for arm in ARMS}
    sensor = say(rules, "plan", "ask_sensor")
    events: list[tuple[int | str, str, str, str, str]] = [
        (one.number, LETTERS[one.arm], asked[one.arm], one.first, one.last) for one in plan.periods
    ]
    events += [(f"s{at}", "S", sensor, day, day) for at, day in enumerate(plan.sensor_changes, 1)]
    for number, title, question, first, last in events:
        event = _event(f"{plan.plan}-{number}", title, first, last, stamp)
        event.add("description", question)
        calendar.add_component(event)
    out: bytes = calendar.to_ical()
    return out


def _event(uid: str, title: str, first: str, last: str, stamp: datetime):  # type: ignore[no-untyped-def]
    from icalendar import Event

    event = Event()
    event.add("uid", f"{uid}@plan.invalid")
    event.add("dtstamp", stamp)
    event.add("dtstart", date.fromisoformat(first))
    event.add("dtend", date.fromisoformat(last) + timedelta(days=1))
    event.add("summary", title)
    event.add("class", "PRIVATE")
    event.add("transp", "TRANSPARENT")
    return event

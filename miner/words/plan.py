"""An alternating test and its result, for people."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from shlex import quote

from miner.core.messages import several
from miner.core.results import Plan, PlanPeriod, PlanResult
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts, amounts_now
from miner.words.document import BLANK, Parts, command, heading, paragraph, table
from miner.words.door import folder_now
from miner.words.sentences import difference_words, outcome_label, result_size
from miner.words.wording import dated, first_days, say, span_words, uncapital

ARMS = {"change": "A, the change", "usual": "B, as usual"}


def plan_parts(plan: Plan, rules: RuleBook, *, display_unit: str = "mg/dL") -> Parts:
    """Return a plan that was agreed on: what it takes and can show first, then the calendar.

    Args:
        plan: what ``plan`` returned.
        rules: the rule books, for the words.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    label = outcome_label(plan.outcome, rules, plan.unit_of)
    lines = [*about(plan, rules, Amounts(display_unit)), *what_to_do(plan, rules)]
    return [
        heading(f"Test {plan.plan}: {uncapital(plan.change).rstrip('.')}, and {label}"),
        *(paragraph(line) for line in lines),
        BLANK,
        *_days(plan),
        BLANK,
        *(paragraph(line) for line in [*stops(rules), *map(str, plan.notes)]),
        BLANK,
        *_from_here(plan, rules),
    ]


def _from_here(plan: Plan, rules: RuleBook) -> Parts:
    """Return what the client gets and how ticks are noted, with the commands."""
    name, folder = quote(plan.plan), quote(folder_now())
    files = f"miner plan {folder} {name} --page {name}.html --calendar {name}.ics"
    return [
        paragraph(say(rules, "plan", "client_gets")),
        command(files),
        paragraph(say(rules, "plan", "ticks")),
        command(f'miner note {folder} --ticks "all as planned"'),
        paragraph(
            say(rules, "plan", "ticks_file", example=f"{plan.periods[0].first},{plan.plan},yes")
        ),
    ]


def _days(plan: Plan) -> Parts:
    """Return the periods with their letters."""
    rows = [
        (str(one.pair), _span(one), ARMS[one.arm], str(one.leave_out_days or ""))
        for one in plan.periods
    ]
    return table((">pair", "days", "", ">days not counted"), rows)


def undrawn_days(plan: Plan) -> Parts:
    """Return the pairs of a plan before their order is drawn."""
    pairs = zip(plan.periods[::2], plan.periods[1::2], strict=True)
    spans = [(str(a.pair), _span(a), _span(b)) for a, b in pairs]
    return table((">pair", "one period", "the other"), spans)


def _span(one: PlanPeriod) -> str:
    return dated(one.first) if one.first == one.last else span_words(one.first, one.last)


def about(plan: Plan, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return what a plan takes and what it can show."""
    values = {
        "pairs": plan.pairs,
        "days": several(plan.period_days, "day"),
        "weeks": several(plan.weeks, "week"),
        "sensors": several(plan.sensors, "sensor"),
        "worth": amounts.told("limit", plan.worth_having, plan.unit),
        "power": round(100 * plan.power_at_worth_having),
        "detectable": f"{amounts.size(plan.detectable, plan.unit)} {amounts.unit(plan.unit)}",
        "unit": amounts.unit(plan.unit),
        "read_on": dated(plan.read_on),
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
    worth = amounts_now().told("limit", found.worth_having, found.unit)
    values = {"read_on": dated(found.read_on), "planned": found.planned_pairs, "worth": worth}
    said = [say(rules, "result", key, pairs=found.pairs_used, **values) for key in keys]
    if late:
        said.append(say(rules, "result", "late_pairs", pairs=several(late, "pair")))
    if paused and not found.paused:  # while it waits, pairs still to come are among them
        said.append(say(rules, "result", "paused_pairs", pairs=several(paused, "pair")))
    if not found.proven:
        said.append(say(rules, "follow", "not_proven"))
    return " ".join(said)


def result_title(plan: Plan, client: str) -> Parts:
    """Return which test of which client it is, from its first day to its last."""
    span = span_words(plan.periods[0].first, plan.periods[-1].last)
    change = uncapital(plan.change).rstrip(".")
    return [paragraph(f"{client}, test {plan.plan}: {change}, {span}"), BLANK]


def result_parts(found: PlanResult, rules: RuleBook, *, display_unit: str = "mg/dL") -> Parts:
    """Return a result: the verdict, how large the change was as planned, then as followed.

    Args:
        found: what ``result`` returned.
        rules: the rule books, for the words.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    parts: Parts = [heading(found.sentence)]
    parts += [paragraph(str(pause)) for pause in found.pauses]
    if found.status is not None:
        parts.append(paragraph(" ".join(result_lines(found, rules, Amounts(display_unit)))))
    if found.put_aside:
        count = several(found.put_aside, "earlier order")
        parts.append(paragraph(say(rules, "plan", "put_aside", count=count)))
    if found.ticks_and_records_differ:
        days = several(found.ticks_and_records_differ, "day")
        parts.append(paragraph(say(rules, "result", "differ", days=days)))
    return [*parts, *(paragraph(str(note)) for note in found.notes)]


def result_key(found: PlanResult, rules: RuleBook) -> str:
    """Return the status of a test that was read; a change for the worse has its own."""
    if found.status != "changed" or found.difference is None:
        return str(found.status)
    worse = rules.outcome(found.outcome, found.unit_of).worse
    return "changed_worse" if (found.difference > 0) == (worse == "higher") else "changed"


def result_lines(found: PlanResult, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return the numbers of a result that was read, a line at a time."""
    return [*result_size(found, rules, amounts), *result_doubts(found, rules, amounts)]


def result_doubts(found: PlanResult, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return how often luck gives as great a change, and what pairs as planned showed."""
    lines, beside = [], found.as_followed
    if found.p is not None and found.status == "changed":
        chance = round(100 * found.p)
        lines.append(say(rules, "result", "luck" if chance else "luck_rare", chance=chance))
    if beside.difference is None:
        lines.append(say(rules, "result", "followed_none"))
    elif beside.pairs_used != found.pairs_used:
        rule = rules.outcome(found.outcome, found.unit_of)
        size = difference_words(beside.difference, beside.interval, rule, rules, amounts)
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

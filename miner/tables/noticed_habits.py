"""What was decided about habits: those that never vary, rows that are no food, levels, limits."""

from __future__ import annotations

from collections import Counter

import numpy as np

from miner.core.errors import several
from miner.core.results import Finding, Severity
from miner.records.client import Client
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.rulebook import FactorRule, RuleBook
from miner.tables.eating import food_of
from miner.tables.no_food import Entry, NoFood
from miner.tables.stress import stress_of
from miner.tables.trace import Trace
from miner.tables.unit_table import UnitTable

_COUNTED = {
    NoFood.LOW: "treat a low",
    NoFood.MEDICINE: "note a medicine",
    NoFood.NOTHING: "say that nothing was eaten",
    NoFood.NOT_REPORTED: "tell nothing",
}


def habits_noticed(
    client: Client, table: UnitTable, trace: Trace, rules: RuleBook
) -> list[Finding | None]:
    """Return what was decided about habits and limits, and habits that never vary.

    Args:
        client: as read.
        table: the client's day table.
        trace: the used readings.
        rules: the rule books.
    """
    return [
        *_never_varies(client, table, rules),
        *_no_food(food_of(client, rules).no_food),
        _stress_from(client),
        _limits(client, trace),
    ]


def _never_varies(client: Client, table: UnitTable, rules: RuleBook) -> list[Finding | None]:
    usable = table.frame["usable"].astype(bool)
    found: list[Finding | None] = []
    plain: list[str] = []
    for name in (each for each in table.factors if ":" not in each):
        known = table.frame.loc[usable, name].dropna().to_numpy(np.float64)
        if known.size < rules.guardrails.fewest_days_to_describe or np.ptp(known) > 0:
            continue
        rule, always = rules.factor(name), bool(known[0])
        said = f"'{rule.phrase}' was {'yes' if always else 'no'} on all {known.size} days known"
        reason, do = _why_always(client, rule) if always else ("", "")
        if reason:
            found.append(_habit(said, reason, do, rule, known.size))
        else:
            plain.append(said)
    if plain:
        kind = several(len(plain), "habit")
        what = f"{kind} the same on every day. {'. '.join(plain)}"
        do = "Nothing to do. A habit that never varies is not compared; its cut is in factors.toml."
        short = f"{kind} the same on every day"
        found.append(_note("same_every_day", what, "days with and without", do, len(plain), short))
    return found


def _why_always(client: Client, rule: FactorRule) -> tuple[str, str]:
    """Return the likely reason why a habit is yes on every day, and what to do; empty without."""
    if rule.stream == "activity" and "activity" not in client.worn:
        return (
            "only rows of movement were read, and nothing says when the tracker was worn",
            "Map the tracker's whole file, with its rows of sitting or rest.",
        )
    if rule.stream == "stress" and "stress" not in client.worn:
        stress = stress_of(client)
        if stress.counts_from is None:
            what = "whatever its level" if stress.levels else "for no level was read"
            return (
                f"every row counts as stress, {what}",
                "Say from which level a row counts: at_least under [source.episodes].",
            )
    return "", ""


def _habit(said: str, reason: str, do: str, rule: FactorRule, days: int) -> Finding:
    return Finding.worded(
        Severity.QUESTION,
        None,
        None,
        f"{said}. The likely reason: {reason}",
        "days with it and days without it",
        do,
        days,
        short=said,
        code="habit_never_varies",
        stream=rule.stream,
        column=rule.column,
        values={"habit": rule.phrase, "days": days, "reason": reason},
    )


def _no_food(entries: tuple[Entry, ...]) -> list[Finding | None]:
    by_type = [entry for entry in entries if entry.why is NoFood.TYPE]
    by_word = [entry for entry in entries if entry.why is not NoFood.TYPE]
    counts = Counter(entry.why for entry in by_word)
    kinds = ", ".join(f"{count} {_COUNTED[why]}" for why, count in sorted(counts.items()))
    return [
        _rows(by_type, "no_food_by_type", "by their type", "Nothing to do."),
        _rows(
            by_word,
            "no_food_by_word",
            f"by their words ({kinds})",
            "If one of them is food, take its word out of the lists in cautions.toml.",
        ),
    ]


def _rows(entries: list[Entry], code: str, how: str, do: str) -> Finding | None:
    if not entries:
        return None
    file, row = entries[0].row
    short = f"{several(len(entries), 'row')} of the meal log read as no food, {how}"
    example = f"; the first says '{entries[0].label}'" if entries[0].label else ""
    return Finding.worded(
        Severity.NOTE,
        file,
        row,
        f"{short}{example}",
        "food",
        do,
        len(entries),
        short=short,
        code=code,
        stream="meals",
        column="label" if code == "no_food_by_word" else "meal",
    )


def _stress_from(client: Client) -> Finding | None:
    at = stress_of(client).counts_from
    if at is None:
        return None
    short = f"stress is counted from level {at:g}, this client's own upper quarter"
    do = "If another level is meant, say so: at_least under [source.episodes] in sources.toml."
    return _note("stress_from", short, "the level from which stress counts", do, 1, short)


def _limits(client: Client, trace: Trace) -> Finding | None:
    """Tell in which unit the limits of each file are read, where any file is in mmol/L."""
    if not trace.tenths.any():
        return None
    limit = client.settings.range[1]
    by_unit = {
        f"{round(limit / MG_DL_PER_MMOL_L, 1):.1f} mmol/L": sorted(set(trace.file[trace.tenths])),
        f"{limit:g} mg/dL": sorted(set(trace.file[~trace.tenths])),
    }
    told = [f"{at} in {', '.join(files)}" for at, files in by_unit.items() if files]
    short = f"above the range means above {' and above '.join(told)}"
    return _note("limits", short, "limits in the unit of each file", "Nothing to do.", 1, short)


def _note(code: str, what: str, expected: str, do: str, count: int, short: str) -> Finding:
    return Finding.worded(
        Severity.NOTE, None, None, what, expected, do, count, short=short, code=code
    )

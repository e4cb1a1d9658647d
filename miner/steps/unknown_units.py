"""Why units are left out of a ranking, and why an outcome is not known on those that are not."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence

import pandas as pd

from miner.core.messages import Message, Words, by_rules, message
from miner.core.period import Period
from miner.core.results import OutcomeSummary, Ranking
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable

MOST_NAMED = 3
KNOWN_ON_FEW = 0.5


def why_unknown(
    table: UnitTable, ranking: Ranking, rules: RuleBook, period: Period
) -> list[Message]:
    """Return notes that tell, with counts, what of a table a ranking could not use.

    Of a ranking of meals with too few of them: why the others were left out. Of outcomes that
    could not be ranked and are known on fewer than half of the usable units: why they are not.

    Args:
        table: every unit, used or not.
        ranking: what was made of it.
        rules: the rule books, for the words.
        period: the days that were asked for.
    """
    frame = table.frame
    inside = frame[period.among(frame["date"])]
    if ranking.status == "too_few":
        return _left_out(inside, table.unit, rules) if table.unit == "meal" else []
    usable = inside[inside["usable"].astype(bool)]
    return _not_known(table, usable, ranking.outcomes, rules)


def _left_out(inside: pd.DataFrame, unit: str, rules: RuleBook) -> list[Message]:
    why = _counted([item for item in inside["left_out"] if item], unit, rules)
    return [message("steps.units_left_out", why=why)] if why else []


def _not_known(
    table: UnitTable, usable: pd.DataFrame, outcomes: Sequence[OutcomeSummary], rules: RuleBook
) -> list[Message]:
    same: dict[tuple[int, tuple[Message, ...]], list[Message]] = defaultdict(list)
    for item in outcomes:
        unknown = usable.index[usable[item.name].isna()]
        known = len(usable) - len(unknown)
        if item.withheld is None or known >= KNOWN_ON_FEW * len(usable):
            continue
        reasons = [table.reasons.get((name, item.name), "") for name in unknown]
        label = by_rules(rules, "labels.outcome", name=item.name, unit=table.unit)
        same[known, tuple(_counted(reasons, table.unit, rules))].append(label)
    of = message("steps.usable_units", count=len(usable), unit=table.unit)
    return [
        message("steps.known_on_few", known=known, of=of, labels=labels, why=why)
        for (known, why), labels in same.items()
    ]


def _counted(reasons: Sequence[Words], unit: str, rules: RuleBook) -> list[Message]:
    """Return the commonest reasons with their counts; those of one code are of one kind."""
    by_code = [why.code if isinstance(why, Message) else why for why in reasons]
    first = dict(zip(reversed(by_code), reversed(reasons), strict=True))
    return [
        message(
            "steps.counted_reason" if code else "steps.counted_no_reason",
            count=count,
            unit=unit,
            why=by_rules(rules, "labels.kind", why=first[code]),
        )
        for code, count in Counter(by_code).most_common(MOST_NAMED)
    ]

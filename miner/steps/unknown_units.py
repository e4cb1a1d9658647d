"""Why units are left out of a ranking, and why an outcome is not known on those that are not."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence

import pandas as pd

from miner.core import Period
from miner.core.errors import several
from miner.core.results import OutcomeSummary, Ranking
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable
from miner.words.labels import outcome_label
from miner.words.reasons import reason_kind
from miner.words.wording import listed

MOST_NAMED = 3
KNOWN_ON_FEW = 0.5


def why_unknown(table: UnitTable, ranking: Ranking, rules: RuleBook, period: Period) -> list[str]:
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
        return _left_out(inside, table.unit) if table.unit == "meal" else []
    usable = inside[inside["usable"].astype(bool)]
    return _not_known(table, usable, ranking.outcomes, rules)


def _left_out(inside: pd.DataFrame, unit: str) -> list[str]:
    why = Counter(reason_kind(item) for item in inside["left_out"] if item)
    return [f"Left out: {_counted(why, unit)}."] if why else []


def _not_known(
    table: UnitTable, usable: pd.DataFrame, outcomes: Sequence[OutcomeSummary], rules: RuleBook
) -> list[str]:
    same: dict[tuple[int, str], list[str]] = defaultdict(list)
    for item in outcomes:
        unknown = usable.index[usable[item.name].isna()]
        known = len(usable) - len(unknown)
        if item.withheld is None or known >= KNOWN_ON_FEW * len(usable):
            continue
        why = Counter(reason_kind(table.reasons.get((name, item.name), "")) for name in unknown)
        said = _counted(why, table.unit)
        same[known, said].append(outcome_label(item.name, rules, table.unit))
    of = several(len(usable), f"usable {table.unit}")
    return [
        f"Known on {known} of {of}: {listed(labels)}. Not known: {said}."
        for (known, said), labels in same.items()
    ]


def _counted(why: Counter[str], unit: str) -> str:
    return "; ".join(
        f"{several(count, unit)}: {text or 'it is not known why'}"
        for text, count in why.most_common(MOST_NAMED)
    )

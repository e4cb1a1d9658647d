"""The words beside the follow-up picture: the verdict, how sure, its tables, what may be next."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from miner.core.results.briefing import MAX_ON_ONE_SIDE
from miner.core.results.follow import FollowPicture, KeptResult, UnitSeen
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import Parts, table
from miner.words.follow import (
    follow_sentence,
    group_words,
    kept_title,
    seen_lines,
    verdict_words,
)
from miner.words.plan import result_doubts, result_key, result_sentence
from miner.words.safe import clean
from miner.words.sentences import ended_words, factor_phrase, outcome_label, result_size, way_words
from miner.words.wording import capital, dated, full_date, listed, say

if TYPE_CHECKING:
    from miner.words.teller import Teller

RECOMMENDED = {
    "held_up": "test",
    "did_not_hold": "other",
    "habit_stopped": "other",
    "not_settled": "test",
    "no_change": "leave",
    "changed_worse": "leave",
}
"""What may be done next that suits the verdict best; else the pattern is kept."""
MOST_MARKS = 30
FILLED, EMPTY = "▮", "▯"


@dataclass(frozen=True, slots=True)
class Counted:
    """How far something is that is not read yet: marks, filled and empty, and the same in words."""

    marks: str
    told: str


@dataclass(frozen=True, slots=True)
class Next:
    """What may be done after a verdict: keep, test, other or leave; its name, what it means."""

    do: str
    name: str
    means: str


@dataclass(frozen=True, slots=True)
class Followed:
    """Tells one kept hypothesis beside its picture, or how far it is.

    Attributes:
        item: what was kept.
        rules: the rule books, in the words of the reader.
        amounts: the unit that is shown.
        calm: without numbers.
        to_client: in the fewest words, without tables: each mark of the picture has its value.
    """

    item: KeptResult
    rules: RuleBook
    amounts: Amounts
    calm: bool = False
    to_client: bool = False

    @property
    def read(self) -> bool:
        """Whether it has a verdict."""
        test = self.item.test
        return (test is not None and test.status is not None) or self.item.status in (
            "held_up",
            "did_not_hold",
            "habit_stopped",
            "not_settled",
        )

    @property
    def tested(self) -> bool:
        """Whether its verdict is that of an alternating test."""
        return self.item.test is not None and self.item.test.status is not None

    def told(self) -> dict[str, Any]:
        """Return the words of the card."""
        lines = [] if self.calm else self.lines()
        return {
            "id": self.item.id,
            "plan": self.item.test.plan if self.item.test else "",
            "title": self.title(),
            "verdict": self.verdict(),
            "lines": lines,
            "sure": [] if self.calm else self.sure(),
            "tables": [] if self.calm or self.to_client else self.tables(),
            "next": self.next() if self.read else [],
            "how": way_words(self.item.as_, self.rules),
            "state": "" if self.read else self.state(),
            "counted": None if self.read else self.counted(),
            "key": [] if self.calm else self.key(),
        }

    def title(self) -> str:
        """Return what was kept: its habits and the glucose measure."""
        item, rules = self.item, self.rules
        name = rules.wording["card_name"].get(rules.key_of(item.outcome, item.unit_of))
        if not self.to_client or not name:
            return clean(kept_title(item, rules), 200)
        habits = listed([factor_phrase(one, rules, item.unit_of) for one in item.factors])
        return clean(f"{capital(habits)} and {name}", 200)

    def verdict(self) -> str:
        """Return the title: the verdict in the words of its level, and no more than that."""
        if not self.read:
            return ""
        test = self.item.test
        if self.calm:
            status = result_key(test, self.rules) if self.tested and test else self.item.status
            return ended_words(status, self.rules)
        if self.tested and test is not None:
            return clean(result_sentence(test, self.rules), 400)
        return clean(verdict_words(self.item, self.rules), 400)

    def lines(self) -> list[str]:
        """Return how large it was, of how many, and how it had been before."""
        test = self.item.test
        if self.to_client:
            return self._size_for_client()
        found = seen_lines(self.item, self.rules, self.amounts)
        if self.tested and test is not None:
            found = result_size(test, self.rules, self.amounts)
        return [*found, *self._before()]

    def _size_for_client(self) -> list[str]:
        found = self.item.test if self.tested and self.item.test is not None else self.item
        if found.difference is None:
            return []
        unit = self.amounts.unit(found.unit)
        key, way = ("test" if self.tested else "new"), "more" if found.difference > 0 else "less"
        values = {
            "size": self.amounts.level(abs(found.difference), found.unit),
            "unit": "minutes" if unit == "min" else unit,
            "way": say(self.rules, "card", way),
            "expected": self.amounts.level(abs(self.looked_for()[0]), found.unit),
        }
        return [say(self.rules, "card", f"followed_{key}", **values)]

    def _before(self) -> list[str]:
        picture = self.item.picture
        if picture is None or not picture.before:
            return []
        groups = _groups(picture.before)
        with_, without = (len(group) for group in groups)
        high = [sum(unit.high for unit in group) for group in groups]
        one, others = group_words(self.item, self.rules, with_, without)
        values = {
            "label": outcome_label(self.item.outcome, self.rules, self.item.unit_of),
            "with_": with_,
            "without": without,
            "with_high": high[0],
            "without_high": high[1],
            "with_words": one,
            "without_words": others,
        }
        said = (say(self.rules, "follow", key, **values) for key in ("before", "before_others"))
        return [" ".join(said)]

    def sure(self) -> list[str]:
        """Return how sure the verdict is."""
        test = self.item.test
        if self.tested and test is not None:
            doubts = result_doubts(test, self.rules, self.amounts)
            if self.to_client:
                return [*doubts, say(self.rules, "card", "one_test")]
            return [*doubts, *(say(self.rules, "follow", key) for key in ("one_test", "as_now"))]
        if self.to_client:
            return [say(self.rules, "card", "one_look")]
        return [say(self.rules, "follow", key) for key in ("one_look", "as_now")]

    def next(self) -> list[Next]:
        """Return what may be done now, first what is recommended."""
        item = self.item
        again = "again" if self.tested else "test"
        worn_out = not self.tested and item.status in ("did_not_hold", "habit_stopped")
        names = [("keep", "keep"), ("other", "other") if worn_out else ("test", again)]
        names.append(("leave", "leave"))
        test = item.test if self.tested else None
        ending = result_key(test, self.rules) if test is not None else str(item.status)
        names.sort(key=lambda name: name[0] != RECOMMENDED.get(ending, "keep"))
        return [
            Next(do, say(self.rules, "next", key), say(self.rules, "next", f"{key}_means"))
            for do, key in names
        ]

    def state(self) -> str:
        """Return where it stands, without a value of what is not due."""
        test = self.item.test
        if test is not None and self.item.open:
            return clean(test.sentence, 400)
        if (self.calm or self.to_client) and self.item.status == "waiting":
            return say(self.rules, "follow", "watch_calm", read_on=dated(self.item.read_on))
        return clean(follow_sentence(self.item, self.rules), 400)

    def counted(self) -> Counted | None:
        """Return what is counted so far of something that is open, and never a value."""
        item, test = self.item, self.item.test
        if not item.open or self.calm:
            return None
        if test is not None:
            return Counted(marks(test.pairs_used, test.planned_pairs), "")
        if item.status == "waiting" and item.days_in_all and item.unit_of == "day":
            have, of = item.new_units, item.days_in_all
            words = say(self.rules, "follow", "days_counted", have=have, of=of)
            return Counted(marks(have, of), words)
        return None

    def looked_for(self) -> tuple[float, str]:
        """Return the difference looked for, with its sign, and the key of its words."""
        item, test = self.item, self.item.test
        if self.tested and test is not None:
            worse = self.rules.outcome(item.outcome, item.unit_of).worse
            better = -test.worth_having if worse == "higher" else test.worth_having
            return better, "line_agreed"
        if item.expected is not None:
            return item.expected, "line_expected"
        size = item.smallest_worth_it / item.span
        return (size if item.direction == "up" else -size), "line_worth"

    def key(self) -> list[tuple[str, str]]:
        """Return what the marks of the picture stand for, each with its words."""
        picture = self.item.picture
        if picture is None:
            return []
        one, others = group_words(self.item, self.rules)
        found = [("●", one), ("○", others), ("◆ ◇", say(self.rules, "follow", "key_high"))]
        if picture.periods:
            names = [("▬", "change"), ("▭", "usual"), ("•", "counted"), ("◦", "not_counted")]
            found += [(mark, say(self.rules, "follow", f"key_{name}")) for mark, name in names]
        if picture.sensors:
            found.append(("▲", say(self.rules, "follow", "key_sensor")))
        return found

    def tables(self) -> list[tuple[str, Parts]]:
        """Return the picture for those who cannot see it: the pairs, and the units."""
        picture = self.item.picture
        if picture is None:
            return []
        unit, days = self.amounts.unit(self.item.unit), f"{self.item.unit_of}s_table"
        found = {"pairs_table": self._pairs(picture, unit), days: self._units(picture, unit)}
        return [(say(self.rules, "follow", key), parts) for key, parts in found.items() if parts]

    def _pairs(self, picture: FollowPicture, unit: str) -> Parts:
        rows = []
        read = self.item.test.pairs if self.tested and self.item.test else ()
        for pair in read:
            first = min(one.first for one in picture.periods if one.pair == pair.pair)
            means = [self._level(value) for value in (pair.change, pair.usual)]
            difference = self.amounts.difference(pair.difference, self.item.unit)
            rows.append((str(pair.pair), full_date(first), *means, difference))
        columns = (">pair", "from", f">change, {unit}", f">as usual, {unit}", ">difference")
        return table(columns, rows)

    def _units(self, picture: FollowPicture, unit: str) -> Parts:
        one, others = group_words(self.item, self.rules)
        rows = [
            (when, _when(each.unit), one if each.with_ else others, self._level(each.value), high)
            for when, units in (("before", picture.before), ("new", picture.new))
            for each in units
            for high in ["high" if each.high else ""]
        ]
        rows += [
            ("test", _when(each.unit), arm, self._level(each.value), not_counted)
            for period in picture.periods
            for each in period.units
            for arm in ["change" if period.arm == "change" else "as usual"]
            for not_counted in ["" if each.counted else "not counted"]
        ]
        return table(("", "day", "", f">{unit}", ""), rows)

    def _level(self, value: float | None) -> str:
        return self.amounts.level(value, self.item.unit)


def followed_by(teller: Teller) -> tuple[list[Followed], list[Followed]]:
    """Return what a client's page tells of what was followed: the verdicts, newest last, the rest.

    Nothing before a referral that nobody told the client of; no food where pages are calm.
    """
    brief, rules = teller.brief, teller.rules
    if any(caution.comes_first for caution in brief.check.cautions):
        return [], []
    newest = {item.id: item for item in brief.kept}
    shown = [
        Followed(item, rules, teller.amounts, brief.calm, to_client=True)
        for item in newest.values()
        if not (brief.calm and any(rules.factor(n, item.unit_of).food for n in item.factors))
    ]
    read = [one for one in shown if one.read]
    return read[-MAX_ON_ONE_SIDE:], [one for one in shown if not one.read and one.item.open]


def marks(have: int, of: int) -> str:
    """Return filled and empty marks; of more than thirty, each stands for several."""
    each = max(1, ceil(of / MOST_MARKS))
    filled, every = min(have, of) // each, ceil(of / each)
    return FILLED * filled + EMPTY * (every - filled)


def _groups(units: tuple[UnitSeen, ...]) -> tuple[list[UnitSeen], list[UnitSeen]]:
    return [unit for unit in units if unit.with_], [unit for unit in units if not unit.with_]


def _when(unit: str) -> str:
    return f"{full_date(unit[:10])} {unit[11:16]}".strip()

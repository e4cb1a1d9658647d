"""Which streams a file may feed, and which of its columns may be meant for each of theirs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from miner.core.results.mapping import Option
from miner.records.columns import COLUMNS, LEVELS, MEALS, NOT_FOOD, TO_MINUTES
from miner.records.place.glucose import LEAST_MG_DL, MOST_MMOL_L
from miner.records.text_columns import fold

if TYPE_CHECKING:
    from miner.records.propose.columns import Column, Floats
    from miner.records.propose.exports import ColumnRule, StreamRule
    from miner.records.propose.notes import Notes
    from miner.records.propose.times import TimeColumns

_COLUMN, _FILE, _ALMOST_ALL = 2, 3, 0.99


@dataclass(frozen=True, slots=True)
class Claim:
    """A stream that a file may feed.

    Attributes:
        stream: its name.
        rule: how its files tend to look.
        marks: how much points to it: its name, or those of its columns.
        essential: the columns of which it cannot do without at least one.
    """

    stream: str
    rule: StreamRule
    marks: int
    essential: tuple[Column, ...]


def claims(named: Sequence[str], columns: Sequence[Column], times: TimeColumns) -> list[Claim]:
    """Return the streams that a file may feed, the likeliest first.

    Args:
        named: the words of the file's name.
        columns: its columns.
        times: those that may hold its times.
    """
    found = []
    for stream, rule in times.book.streams.items():
        by_file = rule.speaks.stand_in(named) and not rule.unless.stand_in(named)
        marks = _FILE * by_file + _COLUMN * sum(_speaks(stream, rule, each) for each in columns)
        fed = feeds(stream, columns, times, weak=True) if marks else None
        if fed is not None:
            found.append(Claim(stream, rule, marks, fed))
    return sorted(found, key=lambda each: -each.marks)


def _speaks(stream: str, rule: StreamRule, column: Column) -> bool:
    by_unit = stream == "glucose" and column.glucose_unit is not None
    return by_unit or rule.speaks.stand_in(column.words)


def feeds(
    stream: str, columns: Sequence[Column], times: TimeColumns, *, weak: bool
) -> tuple[Column, ...] | None:
    """Return the essential columns of a stream; None where a file lacks them, or its times.

    Args:
        stream: the stream.
        columns: the columns of the file.
        times: those that may hold its times.
        weak: words will do that name a column only where the file speaks of the stream.
    """
    rule = times.book.streams[stream]
    found = {name: among(rule.columns[name], columns, weak=weak) for name in rule.essential}
    timed = bool(times.any or (stream == "tags" and times.dates))
    if rule.times == "span" and not times.spans:
        lasts = stream == "sleep" and all(
            among(rule.columns[key], columns, weak=weak) for key in ("asleep_min", "awake_min")
        )
        timed = timed and (lasts or walkable(found.get("steps", ()), times))
    if not timed or (found and not any(found.values())):
        return None
    return tuple(each for some in found.values() for each in some)


def among(rule: ColumnRule, columns: Sequence[Column], *, weak: bool) -> list[Column]:
    """Return the columns that may be meant by a rule: those that it names most plainly.

    Args:
        rule: of a column of a stream.
        columns: to choose from.
        weak: its weak words will do.
    """
    fits = [each for each in columns if _holds(rule, each)]
    fits = [each for each in fits if not rule.unless.stand_in(each.words)]
    for words in (rule.words, rule.weak) if weak else (rule.words,):
        ranks = [words.rank(each.words) for each in fits]
        known = [rank for rank in ranks if rank is not None]
        if known:
            return [each for each, rank in zip(fits, ranks, strict=True) if rank == min(known)]
    return []


def _holds(rule: ColumnRule, column: Column) -> bool:
    if rule.holds == "numbers":
        blank = not column.filled and rule.middle is None
        return blank or (column.numeric and _middle_fits(rule, column))
    fits = {
        "levels": column.numeric or bool(column.listed),
        "names": column.written is None and bool(column.filled),
        "choice": column.free and bool(column.listed or not column.filled),
    }
    return fits.get(rule.holds, column.free)


def _middle_fits(rule: ColumnRule, column: Column) -> bool:
    if rule.middle is None:
        return True
    said = column.unit
    units = [said] if said else list(TO_MINUTES)
    scales = [TO_MINUTES[each] for each in units] if rule.unit else [1.0]
    return any(rule.middle[0] <= column.middle * each <= rule.middle[1] for each in scales)


def walkable(steps: Sequence[Column], times: TimeColumns) -> bool:
    """Say whether steps that are next to single times can be those of the time up to the next."""
    every = times.cadence_min
    if not steps or every is None:
        return False
    most = np.nanquantile(steps[0].values, _ALMOST_ALL)
    return bool(most <= times.book.limits.most_steps_a_minute * every)


_GLUCOSE = {"mg/dL": "glucose_mg_dl", "mmol/L": "glucose_mmol_l"}
_CANNOT_BE = {"mg/dL": "too_high_for_mmol_l", "mmol/L": "too_low_for_mg_dl"}
_FAR_MORE, _FEWEST_KNOWN, _MOSTLY, _MOSTLY_KNOWN = 5, 0.3, 0.8, 0.5
"""One of several columns is meant where it has so many times the cells of every other; a column
says which meal it was where so many of its words do."""


@dataclass(slots=True)
class Filling:
    """The columns of a file on their way into the entry of one stream.

    Attributes:
        claim: the stream, and why.
        columns: the columns that are still free.
        times: those that hold times.
        notes: the entry.
        taken: the columns that were given to the stream, by its own names.
    """

    claim: Claim
    columns: list[Column]
    times: TimeColumns
    notes: Notes
    taken: dict[str, Column] = field(default_factory=dict)

    def fill(self) -> None:
        """Map every column of the stream that the file has."""
        special = {"glucose": self._glucose, "meal": self._meal}
        fill = {"numbers": self._numbers, "levels": self._level, "names": self._names}
        fill |= {"choice": self._choice, "words": self._text, "text": self._text}
        for key, rule in self.claim.rule.columns.items():
            column = self._chosen(key, rule)
            if column is not None and special.get(key, fill[rule.holds])(key, column):
                self.columns = [each for each in self.columns if each is not column]
                self.taken[key] = column
        finish = {"sleep": self._finish_sleep, "activity": self._finish_activity}
        finish |= {"meals": self._finish_meals}
        if self.claim.stream in finish:
            finish[self.claim.stream]()
        numbers = [each for each in self.taken.values() if each.numeric]
        for each in numbers:
            if each.nothing:
                self._not_measured(each.nothing, "nothing_words", column=each.name)
        odd = {word: each.name for each in numbers for word in each.odd}
        if odd:
            nothing = [*(self.notes.get("not_measured") or []), *odd]
            yes = Option("yes", {"not_measured": nothing}, "blank")
            facts: dict[str, Any] = {"words": list(odd)[:3], "column": next(iter(odd.values()))}
            options = [Option("no", {}, "unread"), yes]
            self.notes.ask("no_reading", "odd_words", options, default="no", **facts)

    def _chosen(self, key: str, rule: ColumnRule) -> Column | None:
        """Return the column of the file that is meant, or ask where several may be."""
        by_name = {each.name: each for each in self.columns}
        for each in (*_GLUCOSE.values(), key) if key == "glucose" else (key,):
            given = self.notes.answers.get(f"columns.{each}")
            if given is not None:
                if key == each == "glucose":
                    del self.notes.answers["columns.glucose"]
                return by_name.get(given)
        found = among(rule, self.columns, weak=self.claim.marks > 0)
        found = sorted(found, key=lambda one: -one.filled)
        if len(found) < 2 or found[0].filled > _FAR_MORE * found[1].filled:
            return found[0] if found else None
        if rule.holds not in ("choice", "names"):
            needed = key in self.claim.rule.essential
            self.notes.ask_which(key, found, "several", needed=needed)
        return None

    def put(self, key: str, column: Column, code: str, **facts: Any) -> bool:
        """Map a column for a reason."""
        self.notes.choose(f"columns.{key}", column.name, code, **facts)
        return True

    def _not_measured(self, words: tuple[str, ...], code: str, **facts: Any) -> None:
        listed = list(dict.fromkeys([*(self.notes.get("not_measured") or []), *words]))
        self.notes.choose("not_measured", listed, code, words=list(words), **facts)

    def minutes(self) -> Floats | None:
        """Return how long each record is, where it has a start and an end or a length."""
        own: dict[str, str] = self.notes.entry.get("columns", {})
        by_name = {each.name: each for each in (*self.times.any, *self.times.duration)}
        if own.get("start") in by_name and own.get("end") in by_name:
            return by_name[own["start"]].minutes_to(by_name[own["end"]])
        for key in ("duration", "asleep_min"):
            if own.get(key) in by_name:
                unit = self.notes.get(f"units.{key}") or ("min" if key == "asleep_min" else None)
                return None if unit is None else by_name[own[key]].values * TO_MINUTES[unit]
        return None

    def _glucose(self, _key: str, column: Column) -> bool:
        said, middle, held = column.glucose_unit, column.middle, None
        if middle < LEAST_MG_DL or middle > MOST_MMOL_L:
            held = "mmol/L" if middle < LEAST_MG_DL else "mg/dL"
        told = [unit for unit, key in _GLUCOSE.items() if f"columns.{key}" in self.notes.answers]
        unit = told[0] if told else None if said and held and said != held else held or said
        facts: dict[str, Any] = {"middle": middle, "said": said or "", "column": column.name}
        if unit is not None:
            code = _CANNOT_BE[held] if held else "glucose_by_name"
            facts["unit"] = unit
            self.notes.choose(f"columns.{_GLUCOSE[unit]}", column.name, code, **facts)
            return True
        options = [Option(each, {f"columns.{key}": column.name}) for each, key in _GLUCOSE.items()]
        code = "glucose_contradicts" if said else "glucose_unknown"
        self.notes.ask("unit", code, options, needed=True, **facts)
        return True

    def _numbers(self, key: str, column: Column) -> bool:
        rule = self.claim.rule.columns[key]
        known = rule.unit is None or self.notes.choose_unit(key, column, rule.middle)
        return not known or self.put(key, column, "by_name")

    def _names(self, key: str, column: Column) -> bool:
        different = len(column.counts)
        few = different <= min(self.notes.book.limits.most_sensors, max(1, column.filled // 20))
        return few and self.put(key, column, "sensor", different=different)

    def _choice(self, key: str, column: Column) -> bool:
        known = _words_are(column, COLUMNS[self.claim.stream].choices[key])
        return known and self.put(key, column, "its_words")

    def _meal(self, key: str, column: Column) -> bool:
        """Map a column that says which meal it was; what treats a low is asked to be no food."""
        words = self.notes.book.words
        meant = {
            word: next((meal for meal in (*MEALS, NOT_FOOD) if words[meal].mean(word)), "")
            for word in column.listed
        }
        known = sum(column.counts[word] for word, meal in meant.items() if meal)
        if known <= _FEWEST_KNOWN * column.filled:
            return False
        self.put(key, column, "its_words")
        none = [word for word, meal in meant.items() if meal == NOT_FOOD]
        for word, meal in meant.items():
            if meal and meal not in (NOT_FOOD, fold(word)):
                self.notes.choose(
                    f"meals.{fold(word)}", meal, "meal_word", rows=column.counts[word]
                )
        if none:
            sets = {f"meals.{fold(word)}": NOT_FOOD for word in none}
            options = [Option("yes", sets, "no_food"), Option("no", {}, "some_food")]
            rows = sum(column.counts[word] for word in none)
            facts: dict[str, Any] = {"words": none, "column": column.name, "rows": rows}
            self.notes.ask("not_food", "not_food", options, default="yes", **facts)
        return True

    def _text(self, key: str, column: Column) -> bool:
        off = tuple(word for word in column.listed if self.notes.book.words["not_worn"].mean(word))
        if key == "kind" and off:
            rows = sum(column.counts[word] for word in off)
            rest = [word for word in column.listed if word not in off]
            self.notes.choose(f"where.{column.name}", rest, "its_words")
            self._not_measured(off, "not_worn", rows=rows)
        return self.put(key, column, "text_by_name")

    def _level(self, key: str, column: Column) -> bool:
        """Map a level: of rows that were noted one by one, or as one from which on rows count."""
        if column.numeric and self.notes.get("columns.start"):
            return self.put(key, column, "by_name")
        tunes = self.notes.book.levels
        words = {word: self._level_of(column, word) for word in column.listed}
        levels = (
            column.values if column.numeric else np.array(column.text.map(words), dtype=np.float64)
        )
        below = tuple(f"{each:g}" for each in np.unique(levels[levels < 0])[:_FAR_MORE])
        if below:
            self._not_measured(below, "below_zero")
        self.notes.choose("episodes.column", column.name, "by_name")
        known = levels[levels >= 0]
        if not known.size:
            return True
        least = float(np.quantile(known, tunes.counts_from))
        above = known[known > max(known.min(), 0)]
        if least <= known.min() or least <= 0:
            least = float(above.min()) if above.size else max(least, 1.0)
        facts = {"above": int((known >= least).sum()), "rows": len(known)}
        self.notes.choose("episodes.at_least", _short(least), "upper_quarter", **facts)
        self.notes.choose("episodes.for_min", _short(tunes.for_min), "usual")
        self.notes.choose("episodes.join_gaps_min", _short(tunes.join_gaps_min), "usual")
        return True

    def _level_of(self, column: Column, word: str) -> float | None:
        """Return what a word counts: by the rule book, or as a person says; None: not known."""
        book, key, rows = self.notes.book.levels, f"levels.{fold(word)}", column.counts[word]
        level = book.of(word)
        if level is not None:
            self.notes.choose(key, level, "level_word", rows=rows)
            return float(self.notes.get(key))
        known = [each for each in column.listed if book.of(each) is not None]
        most = sum(column.counts[each] for each in known) > _MOSTLY_KNOWN * column.filled
        some = most and any(book.of(each) for each in known)
        every = [Option(str(at), {key: at}, f"level_{at}") for at in range(len(book.words))]
        every.append(Option("unknown", {}, "level_unknown"))
        default, facts = "unknown" if some else None, {"word": word, "column": column.name}
        said = self.notes.ask(
            key, "level_of", every, default=default, needed=not some, rows=rows, **facts
        )
        return float(said) if said and said.isdecimal() else None

    def _finish_sleep(self) -> None:
        """See whether a length is the time asleep: the sum of the stages, without that awake."""
        own = self.notes.get("columns.duration")
        stages = [
            self.taken[key] for key in ("deep_min", "light_min", "rem_min") if key in self.taken
        ]
        lengths = [each for each in self.times.duration if each.name == own]
        asked = "awake_min" in self.taken and "asleep_min" not in self.taken
        if not (lengths and len(stages) > 1 and asked):
            return
        scales = [
            TO_MINUTES[str(self.notes.get(f"units.{x}") or "min")] for x in ("duration", "deep_min")
        ]
        total = np.nansum([each.values for each in stages], axis=0) * scales[1]
        alike = np.abs(total - lengths[0].values * scales[0]) <= 1
        if alike.mean() < _MOSTLY:
            return
        unit = self.notes.get("units.duration")
        for table in ("columns", "units"):
            self.notes.put(f"{table}.duration", None)
        self.notes.known = [each for each in self.notes.known if "duration" not in each.key]
        self.notes.put("units.asleep_min", None if unit == "min" else unit)
        facts = {"column": lengths[0].name, "rows": int(alike.sum()), "of": len(alike)}
        self.notes.choose("columns.asleep_min", lengths[0].name, "sum_of_stages", **facts)

    def _finish_activity(self) -> None:
        """Say what moves where no column does, and how long a block is without an end."""
        if "steps" in self.taken and "kind" not in self.taken:
            self.notes.choose("constants.kind", "steps", "no_kind")
        if not self.times.spans and self.times.any:
            every = _short(self.times.cadence_min or 0)
            self.notes.choose("constants.duration", str(every), "blocks", every=every)
            self.notes.choose("units.duration", "min", "")

    def _finish_meals(self) -> None:
        """Take words for how much of it there was, and a name where no column has one."""
        asked = {*self.notes.answers, *(each.key for each in self.notes.questions)}
        if "label" not in self.taken and "columns.label" not in asked:
            self.notes.choose("constants.label", "meal", "no_label")
        for key, rule in self.claim.rule.columns.items():
            name = f"{key.removesuffix('_g')}_level"
            if key in self.taken or name not in COLUMNS["meals"].choices:
                continue
            for column in self.columns:
                if _words_are(column, LEVELS) and rule.words.stand_in(column.words):
                    self.put(name, column, "its_words")
                    self.taken[key] = column
                    break


def _words_are(column: Column, known: Sequence[str]) -> bool:
    words = {fold(each) for each in column.listed}
    return bool(words) and words <= set(known)


def _short(value: float) -> float | int:
    return int(value) if float(value).is_integer() else round(value, 6)

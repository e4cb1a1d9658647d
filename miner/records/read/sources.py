"""What ``sources.toml`` says: which file feeds which stream, column by column."""

from __future__ import annotations

import codecs
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, model_validator

from miner.core.messages import closest
from miner.records.columns import (
    COLUMNS,
    DURATION,
    EPOCHS,
    TIME_OF_DAY,
    TIMES,
    UNITS,
    UTC_OFFSET,
    factor,
    known_columns,
)
from miner.records.read.files import TomlModel, Zone, not_as_expected, read_toml
from miner.records.text_columns import fold

_TIME_KEYS = (*TIMES, DURATION, TIME_OF_DAY, UTC_OFFSET)
_OFFSET_UNITS = ("s", "min", "h")
StreamName = Literal["glucose", "sleep", "stress", "activity", "meals", "tags"]
Unit = Literal["s", "min", "h", "mg/dL", "mmol/L", "epoch_s", "epoch_ms"]


def _known_encoding(name: str) -> str:
    try:
        codecs.lookup(name)
    except (LookupError, ValueError) as error:
        raise not_as_expected("an_encoding") from error
    return name


def _inside(pattern: str) -> str:
    outside = pattern.startswith(("/", "\\", "~")) or ".." in Path(pattern).parts
    if outside or not Path(pattern).parts or "**" in pattern or not pattern.isprintable():
        raise not_as_expected("file_in_folder")
    return pattern


def _texts(value: Any) -> Any:
    if isinstance(value, list | tuple):
        return tuple(_cell(item) for item in value)
    return (_cell(value),) if isinstance(value, str | int | float) else value


def _is_number(text: str) -> bool:
    return re.fullmatch(r"\d+(\.\d+)?", text) is not None


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, int | float) else value


def _time_format(text: str) -> str:
    """See that directives can be read back: each at most once, date and all, the offset last."""
    used = re.findall(r"%(.)", text.replace("%%", ""))
    twice = [each for each in dict.fromkeys(used) if used.count(each) > 1]
    if twice:
        raise not_as_expected("directive_once", directive=twice[0])
    strange = [each for each in used if each not in _DIRECTIVES]
    if strange:
        known = " ".join(f"%{each}" for each in _DIRECTIVES)
        raise not_as_expected("directives", known=known, directive=strange[0])
    if not any(set(date) <= set(used) for date in _DATES):
        raise not_as_expected("whole_date")
    if "I" in used and "p" not in used:
        raise not_as_expected("half_of_the_day")
    if "z" in used and not text.endswith("%z"):
        raise not_as_expected("offset_last")
    return text


_DIRECTIVES = "YymbBdjaAHIpMSfzcxX"
_DATES = ("Ymd", "Ybd", "YBd", "ymd", "ybd", "yBd", "Yj", "yj", "c", "x")


def _words(value: Any) -> Any:
    """Return a table of words with its keys folded, so that case does not matter."""
    if not isinstance(value, dict):
        return value
    return {fold(str(key)): _cell(item) for key, item in value.items()}


Mark = Annotated[
    str, StringConstraints(strip_whitespace=False, min_length=1, max_length=1, pattern=r"[^\r\n\"]")
]
Texts = Annotated[tuple[str, ...], BeforeValidator(_texts)]
Words = Annotated[dict[str, str], BeforeValidator(_words)]


class Episodes(TomlModel):
    """How a level, sampled or of rows with a start and an end, becomes episodes.

    Attributes:
        column: the file's own column that holds the level.
        at_least: the level from which a sample counts.
        for_min: the shortest episode kept, in minutes.
        join_gaps_min: two episodes no further apart than this many minutes are one.
    """

    column: str
    at_least: float
    for_min: float = Field(default=0, ge=0)
    join_gaps_min: float = Field(default=0, ge=0)


class Source(TomlModel):
    """One entry: a file, the stream it feeds, and how to read it.

    It may have three more columns than the stream. ``time_of_day`` completes a ``time`` or
    ``start`` that has only dates. ``duration`` takes the place of ``end``. ``utc_offset`` is the
    offset of the wall clock of times in UTC. Sleep may have neither ``end`` nor ``duration``: it
    then ends when ``asleep_min`` and ``awake_min`` have passed.

    Attributes:
        part: the sheet of a spreadsheet, or the file inside an archive.
        units: of numbers and of ``duration``; of times, where they count from 1970
            (``epoch_s``, ``epoch_ms``); of ``utc_offset``, if it is not a text such as +02:00.
        levels: what the file's words mean for a level: of stress, and of the level of episodes, a
            number; of ``intensity`` and of ``carbs_level`` and the like one of the stream's words.
        meals: what the file's words mean for ``meal``: breakfast, lunch, dinner, snack, not_food.
        worn: the rows are not records, but the intervals in which the tracker measured.
    """

    file: Annotated[str, AfterValidator(_inside)]
    stream: StreamName
    part: str | None = None
    skip_rows: int = Field(default=0, ge=0)
    delimiter: Mark = ","
    decimal: Literal[".", ","] = "."
    encoding: Annotated[str, AfterValidator(_known_encoding)] | None = None
    time_format: Annotated[str, AfterValidator(_time_format)] | None = None
    time_zone: Zone | None = None
    not_measured: Texts = ()
    where: dict[str, Texts] = Field(default_factory=dict)
    columns: dict[str, str]
    units: dict[str, Unit] = Field(default_factory=dict)
    constants: dict[str, Annotated[str, BeforeValidator(_cell)]] = Field(default_factory=dict)
    episodes: Episodes | None = None
    worn: bool = False
    levels: Words = Field(default_factory=dict)
    meals: Words = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _plain_delimiter(cls, table: Any) -> Any:
        if isinstance(table, dict) and table.get("delimiter") in ("\\t", "tab"):
            return {**table, "delimiter": "\t"}
        return table

    @model_validator(mode="after")
    def _consistent(self) -> Source:
        self._check_names()
        self._check_needed()
        self._check_units()
        self._check_words()
        return self

    def _check_names(self) -> None:
        known = (*known_columns(self.stream), *_TIME_KEYS)
        for name in (*self.columns, *self.constants, *self.units):
            if name not in known:
                columns = [*known_columns(self.stream), UTC_OFFSET]
                if COLUMNS[self.stream].interval:
                    columns.insert(-1, DURATION)
                close = closest(name, known)
                raise not_as_expected(
                    "columns_of_stream_close" if close else "columns_of_stream",
                    stream=self.stream,
                    columns=columns,
                    name=name,
                    close=close,
                )
        for name in (TIME_OF_DAY, UTC_OFFSET):
            if name in self.constants:
                raise not_as_expected("own_column", name=name)

    def _check_needed(self) -> None:
        spec, given = COLUMNS[self.stream], {*self.columns, *self.constants}
        spans = "start" in self.columns and (bool({"end", DURATION} & given) or self.ends_by_sleep)
        if not spec.interval or self.stream == "tags":
            timed = "time" in self.columns or (self.stream == "tags" and "start" in self.columns)
            wanted = "needs_time"
        elif self.episodes:
            timed, wanted = "time" in self.columns or spans, "needs_time_or_span"
        else:
            timed, wanted = spans, "needs_span"
        if not timed:
            raise not_as_expected(wanted, stream=self.stream)
        if self.episodes and not spec.interval:
            raise not_as_expected("no_episodes", stream=self.stream)
        if self.worn and (self.episodes or not spec.interval or self.stream == "tags"):
            code = "no_wear_with_episodes" if self.episodes else "no_wear"
            raise not_as_expected(code, stream=self.stream)
        needed = () if self.worn else spec.needed
        missing = [name for name in needed if name not in given]
        if missing:
            raise not_as_expected("needs_column", name=missing[0])
        if self.stream == "glucose" and not given & {"glucose_mg_dl", "glucose_mmol_l"}:
            raise not_as_expected("needs_glucose")

    def _check_units(self) -> None:
        numbers = COLUMNS[self.stream].numbers
        for name, unit in self.units.items():
            if name in TIMES:
                fits = list(EPOCHS)
            elif name == UTC_OFFSET:
                fits = list(_OFFSET_UNITS)
            else:
                number = numbers.get(name)
                wanted = "min" if name == DURATION else number.unit if number else ""
                fits = [each for each in UNITS if factor(each, wanted) is not None]
            if unit not in fits:
                units = " or ".join(fits)
                raise not_as_expected("a_unit" if fits else "no_unit", name=name, units=units)
        if DURATION in {*self.columns, *self.constants} and DURATION not in self.units:
            raise not_as_expected("unit_of_duration")
        if not _is_number(self.constants.get(DURATION, "0")):
            raise not_as_expected("number_for_duration")

    def _check_words(self) -> None:
        choices = COLUMNS[self.stream].choices
        if self.meals and "meal" not in self.columns:
            raise not_as_expected("meals_beside_meal")
        for word, meaning in self.meals.items():
            if meaning not in choices["meal"]:
                raise not_as_expected("choice_for_word", choices=choices["meal"], word=word)
        for word, meaning in self.levels.items():
            if self.levels_are_numbers:
                if not _is_number(meaning):
                    raise not_as_expected("number_for_word", word=word)
            elif not self.level_choices:
                raise not_as_expected("levels_beside_level")
            elif meaning not in self.level_choices:
                raise not_as_expected("choice_for_word", choices=self.level_choices, word=word)

    @property
    def levels_are_numbers(self) -> bool:
        """Whether the file's words for a level mean numbers."""
        return self.episodes is not None or self.stream == "stress"

    @property
    def level_choices(self) -> tuple[str, ...]:
        """The stream's words that the file's words for a level may mean, if any."""
        return next(
            (
                choices
                for name, choices in COLUMNS[self.stream].choices.items()
                if (name == "intensity" or name.endswith("_level")) and name in self.columns
            ),
            (),
        )

    @property
    def ends_by_sleep(self) -> bool:
        """Whether a sleep ends when the times asleep and awake have passed."""
        ended = bool({"end", DURATION} & {*self.columns, *self.constants})
        return (
            self.stream == "sleep" and not ended and {"asleep_min", "awake_min"} <= {*self.columns}
        )

    def words_for(self, name: str) -> Mapping[str, str]:
        """Return what the file's words mean for one of the stream's columns, keys folded."""
        if name == "meal":
            return self.meals
        is_level = name in ("level", "intensity") or name.endswith("_level")
        return self.levels if is_level else {}

    @property
    def texts(self) -> tuple[str, ...]:
        """The file's own columns that hold text: times, words, and those of ``where``."""
        numbers = {*COLUMNS[self.stream].numbers, DURATION}
        if self.levels:
            numbers.discard("level")
        mapped = [own for name, own in self.columns.items() if name not in numbers]
        if self.levels and self.episodes:
            mapped.append(self.episodes.column)
        return tuple(dict.fromkeys((*mapped, *self.where)))

    @property
    def needed(self) -> tuple[str, ...]:
        """Every column of the file that the entry uses."""
        level = (self.episodes.column,) if self.episodes else ()
        return tuple(dict.fromkeys((*self.columns.values(), *self.where, *level)))


class SourcesFile(TomlModel):
    """The keys of ``sources.toml``."""

    source: tuple[Source, ...] = ()


def read_sources(folder: Path, practice: Path | None) -> tuple[Source, ...]:
    """Read the mappings of one client; an own entry replaces the practice's for the same file.

    Raises:
        MinerError: a file cannot be read, or a key in it is unknown, missing or out of range.
    """
    own = read_toml(folder / "sources.toml", SourcesFile).source
    if practice is None or practice.resolve() == folder.resolve():
        return own
    shared = read_toml(practice / "sources.toml", SourcesFile).source
    replaced = {entry.file for entry in own}
    return (*(entry for entry in shared if entry.file not in replaced), *own)


def canonical(name: str, stream: str, header: list[str], time_zone: str | None) -> Source:
    """Return the mapping of a file whose columns have the stream's own names.

    Args:
        name: the file's name inside the client folder.
        stream: the stream it feeds.
        header: the file's columns, which hold all that the stream needs.
        time_zone: the client's zone, or None.
    """
    known = known_columns(stream)
    return Source.model_construct(
        file=name,
        stream=stream,
        time_zone=time_zone,
        columns={column: column for column in header if column in known},
    )

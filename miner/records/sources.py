"""What ``sources.toml`` says: which file feeds which stream, column by column."""

from __future__ import annotations

import codecs
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, model_validator

from miner.records.columns import COLUMNS, UNITS, factor, known_columns
from miner.records.toml_file import TomlModel, Zone, read_toml
from miner.rulebook import nearest

TIME_OF_DAY = "time_of_day"
StreamName = Literal["glucose", "sleep", "stress", "activity", "meals", "tags"]


def _known_encoding(name: str) -> str:
    try:
        codecs.lookup(name)
    except (LookupError, ValueError) as error:
        raise ValueError("an encoding such as 'utf-8', 'utf-16' or 'cp1252'") from error
    return name


def _inside(pattern: str) -> str:
    outside = pattern.startswith(("/", "\\", "~")) or ".." in Path(pattern).parts
    if outside or not Path(pattern).parts or "**" in pattern or not pattern.isprintable():
        raise ValueError("the name of a file in the client folder; * stands for anything")
    return pattern


def _texts(value: Any) -> Any:
    if isinstance(value, list | tuple):
        return tuple(_cell(item) for item in value)
    return (_cell(value),) if isinstance(value, str | int | float) else value


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, int | float) else value


Mark = Annotated[
    str, StringConstraints(strip_whitespace=False, min_length=1, max_length=1, pattern=r"[^\r\n\"]")
]
Texts = Annotated[tuple[str, ...], BeforeValidator(_texts)]


class Episodes(TomlModel):
    """How a sampled level becomes episodes.

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

    ``part`` is the sheet of a spreadsheet, or the file inside an archive. The column
    ``time_of_day`` completes ``time`` (or ``start``) where that holds dates only. With ``worn``
    the rows are no records: they are the intervals in which the tracker measured the stream.
    """

    file: Annotated[str, AfterValidator(_inside)]
    stream: StreamName
    part: str | None = None
    skip_rows: int = Field(default=0, ge=0)
    delimiter: Mark = ","
    decimal: Literal[".", ","] = "."
    encoding: Annotated[str, AfterValidator(_known_encoding)] | None = None
    time_format: str | None = None
    time_zone: Zone | None = None
    not_measured: Texts = ()
    where: dict[str, Texts] = Field(default_factory=dict)
    columns: dict[str, str]
    units: dict[str, Literal["s", "min", "h", "mg/dL", "mmol/L"]] = Field(default_factory=dict)
    constants: dict[str, Annotated[str, BeforeValidator(_cell)]] = Field(default_factory=dict)
    episodes: Episodes | None = None
    worn: bool = False

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
        plain = not self.file.casefold().endswith((".xlsx", ".jsonl", ".ndjson", ".json"))
        if plain and self.delimiter == self.decimal:
            raise ValueError("a delimiter that is not also the decimal sign")
        if self.time_format and "%z" in self.time_format and not self.time_format.endswith("%z"):
            raise ValueError("a time_format in which %z stands last")
        return self

    def _check_names(self) -> None:
        known = (*known_columns(self.stream), "duration", "time", TIME_OF_DAY)
        for name in (*self.columns, *self.constants, *self.units):
            if name not in known:
                raise ValueError(
                    f"columns of the stream {self.stream} ({', '.join(known_columns(self.stream))}"
                    f"{', duration' if COLUMNS[self.stream].interval else ''}), "
                    f"not '{name}'. {nearest(name, known)}".strip()
                )

    def _check_needed(self) -> None:
        spec, given = COLUMNS[self.stream], {*self.columns, *self.constants}
        if self.episodes or not spec.interval or self.stream == "tags":
            timed = "time" in self.columns or (self.stream == "tags" and "start" in self.columns)
            wanted = "time"
        else:
            timed = "start" in self.columns and bool({"end", "duration"} & given)
            wanted = "start, and end or duration,"
        if TIME_OF_DAY in self.constants:
            raise ValueError("time_of_day under [source.columns]: the file's column of times")
        if not timed:
            raise ValueError(f"{wanted} under [source.columns] for the stream {self.stream}")
        if self.episodes and not spec.interval:
            raise ValueError(f"no [source.episodes] for {self.stream}, which has single times")
        if self.worn and (self.episodes or not spec.interval or self.stream == "tags"):
            raise ValueError(f"no 'worn' for {self.stream}{' with episodes' * bool(self.episodes)}")
        needed = () if self.worn else spec.needed
        missing = [name for name in needed if name not in given]
        if missing:
            raise ValueError(f"'{missing[0]}' under [source.columns] or [source.constants]")
        if self.stream == "glucose" and not given & {"glucose_mg_dl", "glucose_mmol_l"}:
            raise ValueError("glucose_mg_dl or glucose_mmol_l under [source.columns]")

    def _check_units(self) -> None:
        numbers = COLUMNS[self.stream].numbers
        for name, unit in self.units.items():
            wanted = "min" if name == "duration" else numbers[name].unit if name in numbers else ""
            if factor(unit, wanted) is None:
                fits = [each for each in UNITS if factor(each, wanted) is not None]
                raise ValueError(
                    f"a unit of {name}: {' or '.join(fits)}" if fits else f"no unit for {name}"
                )
        if "duration" in self.columns and "duration" not in self.units:
            raise ValueError("the unit of duration under [source.units]: s, min or h")

    @property
    def texts(self) -> tuple[str, ...]:
        """The file's own columns that hold text: times, words, and those of ``where``."""
        numbers = {*COLUMNS[self.stream].numbers, "duration"}
        mapped = (own for name, own in self.columns.items() if name not in numbers)
        return tuple(dict.fromkeys((*mapped, *self.where)))

    @property
    def needed(self) -> tuple[str, ...]:
        """Every column of the file's own that the entry speaks of."""
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

"""What ``client.toml`` and ``practice.toml`` say, the client's own word before the practice's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

import pandas as pd
from pydantic import AfterValidator, BeforeValidator, Field, field_validator, model_validator

from miner.core.facts import YEARS
from miner.core.messages import MinerError, printable
from miner.records.client import Clinician, LeftOutDay, Settings
from miner.records.read.files import TomlModel, Zone, not_as_expected, read_toml
from miner.records.text_columns import fold

_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
WEEK_DAYS = tuple(day[:3] for day in _DAYS)
Answer = Literal["yes", "no", "not_asked"]
Topic = Literal["sleep", "stress", "movement", "meals"]
SENSOR_DAYS = (5, 30)
"""The fewest and the most days for which a sensor may be worn."""
USUAL_RANGE = (70.0, 140.0)
TREATED_RANGE = (70.0, 180.0)
"""Time in range of people with diabetes: Battelino et al. 2019, Diabetes Care 42:1593."""


def _wall_clock(value: Any) -> datetime:
    if isinstance(value, date) and not isinstance(value, datetime):
        value = datetime(value.year, value.month, value.day)
    try:
        found = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    except ValueError as error:
        raise not_as_expected("date_and_time") from error
    if not YEARS[0] <= found.year <= YEARS[1]:
        raise not_as_expected("date_of_years", first=YEARS[0], last=YEARS[1])
    return found


def _calendar_day(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError as error:
        raise not_as_expected("a_date") from error


Moment = Annotated[datetime, BeforeValidator(_wall_clock)]
Day = Annotated[date, BeforeValidator(_calendar_day)]


class LeftOutTable(TomlModel):
    """A day that the practitioner leaves out."""

    date: Day
    reason: str = Field(min_length=1)
    entered: Day | None = None


class PressureLow(TomlModel):
    """A low that was confirmed to be pressure on the sensor."""

    start: Moment
    end: Moment

    @model_validator(mode="after")
    def _in_order(self) -> PressureLow:
        if self.end.replace(tzinfo=None) < self.start.replace(tzinfo=None):
            raise not_as_expected("end_after_start")
        return self


def _has_come(day: date) -> date:
    """Return a day that is not in the future; tomorrow is today somewhere."""
    if day > date.today() + timedelta(days=1):
        raise not_as_expected("a_day_that_has_come")
    return day


PastDay = Annotated[Day, AfterValidator(_has_come)]


class SettledTable(TomlModel):
    """What was settled with a clinician at one time."""

    informed: PastDay | None = None
    agreed: PastDay | None = None
    covers: tuple[Topic, ...] = ()
    entered: str = ""

    @model_validator(mode="after")
    def _agreement_covers_something(self) -> SettledTable:
        if bool(self.agreed) != bool(self.covers):
            raise not_as_expected("agreed_and_covers")
        return self

    def settled(self) -> Clinician:
        """Return it as a value."""
        return Clinician(self.informed, self.agreed, self.covers, entered=self.entered)


class ClinicianTable(SettledTable):
    """What is settled with a clinician now, and what was before."""

    treats_diabetes: bool = False
    before: tuple[SettledTable, ...] = ()


class LaboratoryTable(TomlModel):
    """What a laboratory found, as it was reported to the practitioner."""

    a1c_percent: float | None = Field(default=None, ge=3, le=20)
    a1c_mmol_mol: float | None = Field(default=None, ge=9, le=195)

    @model_validator(mode="after")
    def _one_unit(self) -> LaboratoryTable:
        if self.a1c_percent is not None and self.a1c_mmol_mol is not None:
            raise not_as_expected("a1c_in_one_unit")
        return self

    def percent(self) -> float | None:
        """Return A1c in NGSP %.

        Source: NGSP, "IFCC standardization of HbA1c": NGSP = 0.09148 x IFCC + 2.152.
        """
        if self.a1c_mmol_mol is not None:
            return 0.09148 * self.a1c_mmol_mol + 2.152
        return self.a1c_percent


class PracticeFile(TomlModel):
    """The keys of ``practice.toml``."""

    display_unit: Literal["mg/dL", "mmol/L"] | None = None
    rank_unit: Literal["day", "meal"] | None = None
    primary_outcome: str | None = None
    sensor_days: int | None = Field(default=None, ge=SENSOR_DAYS[0], le=SENSOR_DAYS[1])
    synonyms: dict[str, str] = Field(default_factory=dict)
    food_synonyms: dict[str, str] = Field(default_factory=dict)


class ClientFile(PracticeFile):
    """The keys of ``client.toml``; those of the practice may be given too and then override."""

    code: str | None = None
    time_zone: Zone | None = None
    range: tuple[float, float] | None = None
    call: tuple[float, float] | None = None
    sensor_changes: tuple[Moment, ...] = ()
    intake: dict[str, Answer] = Field(default_factory=dict)
    clinician: ClinicianTable = ClinicianTable()
    laboratory: LaboratoryTable = LaboratoryTable()
    left_out: tuple[LeftOutTable, ...] = ()
    rest_days: tuple[str, ...] = ("sat", "sun")
    pressure_lows: tuple[PressureLow, ...] = ()
    calm: bool = False
    pooled: bool | None = None

    def range_used(self) -> tuple[float, float]:
        """Return the client's range in mg/dL; that of diabetes where it is treated."""
        return self.range or (TREATED_RANGE if self.treated() else USUAL_RANGE)

    def treated(self) -> bool:
        """Return whether diabetes is diagnosed and treated by a clinician."""
        return self.clinician.treats_diabetes and self.intake.get("diabetes") == "yes"

    @field_validator("range", "call", mode="before")
    @classmethod
    def _two_numbers(cls, value: Any) -> Any:
        numbers = value if isinstance(value, list | tuple) else ()
        plain = [
            isinstance(one, int | float | str) and not isinstance(one, bool) for one in numbers
        ]
        if value is not None and (len(plain) != 2 or not all(plain)):
            raise not_as_expected("two_numbers")
        return value

    @field_validator("range", "call")
    @classmethod
    def _mg_dl(cls, value: tuple[float, float] | None) -> tuple[float, float] | None:
        if value is None:
            return None
        low, high = value
        if high < 40:
            raise not_as_expected("range_in_mg_dl")
        if not 20 <= low < high <= 600:
            raise not_as_expected("range_in_order")
        return value

    @field_validator("rest_days", mode="before")
    @classmethod
    def _days(cls, value: Any) -> Any:
        if not isinstance(value, list | tuple):
            return value
        return tuple(_rest_day(item) for item in value)


def _rest_day(value: Any) -> str:
    text = str(value.date() if isinstance(value, datetime) else value).strip().casefold()
    if text[:3] in WEEK_DAYS and any(day.startswith(text) for day in _DAYS):
        return text[:3]
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise not_as_expected("rest_day") from error


def read_settings(folder: Path, practice: Path | None) -> Settings:
    """Read the settings of one client.

    Args:
        folder: the client's folder.
        practice: the folder that may hold ``practice.toml``, or None.

    Raises:
        MinerError: a file cannot be read, or a key in it is unknown or out of range.
    """
    own = read_toml(folder / "client.toml", ClientFile)
    shared = read_toml(practice / "practice.toml", PracticeFile) if practice else PracticeFile()
    zone = own.time_zone
    return Settings(
        code=own.code or printable(folder.resolve().name),
        time_zone=zone,
        range=own.range_used(),
        call=own.call,
        sensor_changes=tuple(sorted(_local(item, zone) for item in own.sensor_changes)),
        intake=own.intake,
        left_out=tuple(LeftOutDay(d.date, d.reason, d.entered) for d in own.left_out),
        rest_days=own.rest_days,
        pressure_lows=tuple(
            (_local(low.start, zone), _local(low.end, zone)) for low in own.pressure_lows
        ),
        calm=own.calm,
        pooled=own.pooled,
        display_unit=own.display_unit or shared.display_unit or "mg/dL",
        rank_unit=own.rank_unit or shared.rank_unit or "day",
        primary_outcome=own.primary_outcome or shared.primary_outcome,
        sensor_days=own.sensor_days or shared.sensor_days,
        synonyms=followed("synonyms", {**shared.synonyms, **own.synonyms}, folder),
        food_synonyms=followed(
            "food_synonyms", {**shared.food_synonyms, **own.food_synonyms}, folder
        ),
        clinician=replace(
            own.clinician.settled(),
            treats_diabetes=own.treated(),
            before=tuple(each.settled() for each in own.clinician.before),
        ),
        a1c_percent=own.laboratory.percent(),
    )


def _local(moment: datetime, zone: str | None) -> pd.Timestamp:
    stamp = pd.Timestamp(moment).as_unit("ns")
    if stamp.tzinfo is not None and zone is not None:
        stamp = stamp.tz_convert(zone)
    return stamp.tz_localize(None)


def followed(name: str, table: Mapping[str, str], folder: Path) -> dict[str, str]:
    """Return words, folded, each with the one that replaces it in the end.

    Raises:
        MinerError: they go round in a circle.
    """
    known = {fold(own): fold(kept) for own, kept in table.items()}
    known = {own: kept for own, kept in known.items() if own != kept}
    found = {}
    for own, kept in known.items():
        passed = [own]
        while kept in known:
            passed.append(kept)
            kept = known[kept]
            if kept in passed:
                raise MinerError(
                    "records.words_in_a_circle",
                    file=folder,
                    name=name,
                    words=", ".join([*passed, kept])[:200],
                )
        found[own] = kept
    return found

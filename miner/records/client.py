"""One client's records, read and checked: six tidy streams and what was found on the way."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    import pandas as pd

    from miner.core.results.checking import Finding

T = TypeVar("T")
MAX_DERIVED = 4  # rule books under which one thing is asked for at a time: shipped, frozen, changed
STREAMS = ("glucose", "sleep", "stress", "activity", "meals", "tags")


@dataclass(frozen=True, slots=True)
class LeftOutDay:
    """A day the practitioner left out, why, and when that was entered."""

    day: date
    reason: str
    entered: date | None


@dataclass(frozen=True, slots=True)
class Clinician:
    """What is settled with a clinician.

    Attributes:
        informed: when the client was referred to one.
        agreed: when the clinician agreed to changes of habits.
        covers: what the agreement covers: sleep, stress, movement, meals.
        treats_diabetes: whether a diagnosed diabetes is treated by one.
        entered: when it was noted, ISO 8601; empty where it was written by hand.
        before: what was settled before it, oldest first.
    """

    informed: date | None = None
    agreed: date | None = None
    covers: tuple[str, ...] = ()
    treats_diabetes: bool = False
    entered: str = ""
    before: tuple[Clinician, ...] = ()

    @property
    def told_on(self) -> date | None:
        """The last day on which the client is known to be informed; an agreement shows it too."""
        return max((day for day in (self.informed, self.agreed) if day), default=None)


@dataclass(frozen=True, slots=True)
class Settings:
    """What ``client.toml`` and ``practice.toml`` say of one client.

    Attributes:
        range: the client's glucose range in mg/dL, low and high.
        call: below and above what the client calls a doctor, mg/dL; None where nothing is agreed.
        sensor_changes: wall-clock times at which a new sensor began (numpy datetime64).
        intake: yes, no or not_asked, by question.
        rest_days: names of week days ("sat") and ISO dates; default Saturday and Sunday.
        pressure_lows: wall-clock start and end of confirmed pressure lows.
        synonyms: a tag as written (folded) to the tag that it means.
        food_synonyms: words of a food (folded) to those that they mean.
        clinician: what is settled with a clinician.
        sensor_days: how many days a sensor is worn, or None if not known.
        a1c_percent: A1c that a laboratory reported, NGSP %, or None.
    """

    code: str
    time_zone: str | None
    range: tuple[float, float]
    sensor_changes: tuple[pd.Timestamp, ...]
    intake: Mapping[str, str]
    left_out: tuple[LeftOutDay, ...]
    rest_days: tuple[str, ...]
    pressure_lows: tuple[tuple[pd.Timestamp, pd.Timestamp], ...]
    calm: bool
    pooled: bool | None
    display_unit: str
    rank_unit: str
    primary_outcome: str | None
    synonyms: Mapping[str, str]
    food_synonyms: Mapping[str, str] = field(default_factory=dict)
    clinician: Clinician = Clinician()
    a1c_percent: float | None = None
    call: tuple[float, float] | None = None
    sensor_days: int | None = None


@dataclass(frozen=True, slots=True)
class Client:
    """One client folder as read.

    Every stream is a DataFrame (empty with the same columns where nothing was recorded) in time
    order with a fresh RangeIndex. Two time lines are side by side: ``time``/``start``/``end``
    are instants (datetime64[ns], UTC when a zone is known, else the clock as it is) for
    durations; ``clock``/``start_clock``/``end_clock`` are wall-clock times for clock windows.
    ``file`` (name inside the folder) and ``row`` (line number from 1 as an editor shows it) say
    where each value came from.

    The other columns:
        glucose: time, clock, glucose (mg/dL, NaN where censored), censored (-1 LO, 0, 1 HI), unit
            ("mg/dL" or "mmol/L": what its file is declared to be in), sensor (text, "" unknown),
            left_out ("" or the reason it is not used).
        sleep: start, end, start_clock, end_clock, asleep_min, deep_min, rem_min, light_min,
            awake_min, awakenings, kind ("main", "nap", ""), left_out.
        stress: start, end, start_clock, end_clock, level, left_out.
        activity: start, end, start_clock, end_clock, kind, intensity, steps, active_min, left_out.
        meals: time, clock, label, meal, carbs_g, protein_g, fat_g, fibre_g, energy_kcal,
            carbs_level, protein_level, fat_level, fibre_level, left_out.
        tags: start, end (equal to start where only a time was noted), start_clock, end_clock,
            tag (folded: lower case, single spaces, synonyms joined), noted (the same before
            synonyms were joined), date_only (True where only a date was noted, which is placed at
            12:00), left_out.

    ``worn`` holds, for streams made from samples or blocks, the intervals in which the tracker was
    on (start, end, start_clock, end_clock); a stream absent from it was not sampled. See
    ``records/columns.py`` for ``kind`` "still", ``active_min``, ``meal`` and ``level``.
    An activity of kind "steps" is a block in which steps were counted, not a bout of movement.
    ``records_hash`` covers the files read, their mapping and the corrections in force,
    ``settings_hash`` the settings. ``replaced`` says which (file, row) a corrected record
    replaces.
    """

    folder: Path
    settings: Settings
    streams: Mapping[str, pd.DataFrame]
    worn: Mapping[str, pd.DataFrame]
    findings: tuple[Finding, ...]
    records_hash: str
    settings_hash: str = ""
    replaced: Mapping[tuple[str, int], tuple[str, int]] = field(default_factory=dict)
    _derived: dict[str, list[tuple[Any, Any]]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def derived(self, name: str, rules: object, make: Callable[[], T]) -> T:
        """Return what ``make`` computes from these records under these rules, computed once.

        The records never change, so a table is the same each time it is asked for; callers must
        not change it in place. Rules are compared by what they say.
        """
        made = self._derived.setdefault(name, [])
        for known, value in made:
            if known is rules or known == rules:
                return value  # type: ignore[no-any-return]
        value = make()
        made.append((rules, value))  # by another thread meanwhile: what comes last is not this one
        del made[:-MAX_DERIVED]
        return value

    def used(self, stream: str) -> pd.DataFrame:
        """Return the rows of a stream that are not left out; not to be changed in place."""
        return self.derived(f"used {stream}", None, lambda: self._used(stream))

    def _used(self, stream: str) -> pd.DataFrame:
        frame = self.streams[stream]
        kept = (frame["left_out"] == "").to_numpy(dtype=bool)
        return frame if kept.all() else frame[kept].reset_index(drop=True)

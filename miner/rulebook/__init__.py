"""The rule books: every judgement a practitioner may disagree with, read from ``rules/*.toml``."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from string import Formatter
from typing import Any, Literal, cast

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from miner.core import resources
from miner.core.messages import MinerError, closest, expected_of

_NUMBERS = (int, float, float | None, dict[str, int])


class Checked(BaseModel):
    """A table whose keys are all known, in which true and false are no numbers."""

    model_config = ConfigDict(
        defer_build=True, frozen=True, extra="forbid", str_strip_whitespace=True
    )

    @field_validator("*", mode="before")
    @classmethod
    def _no_truth_as_number(cls, value: Any, info: ValidationInfo) -> Any:
        given = value.values() if isinstance(value, dict) else (value,)
        kind = cls.model_fields[str(info.field_name)].annotation
        if kind in _NUMBERS and any(isinstance(item, bool) for item in given):
            raise PydanticCustomError("rulebook.no_truth", "no_truth")
        return value


def only(*names: str) -> Callable[[str], str]:
    """Return a check that a text holds no placeholder but these."""

    def check(text: str) -> str:
        found = {name for _, name, _, _ in Formatter().parse(text) if name is not None}
        if unknown := found - set(names):
            found_and_known = {"known": names, "unknown": sorted(unknown)}
            raise PydanticCustomError("rulebook.placeholders", "placeholders", found_and_known)
        return text

    return check


NuisanceColumn = Literal["rest_day", "day_number", "sensor", "meal", "carbs_g", "baseline"]
"""What every test allows for: a column of the day table or of the meal table."""

Cut = Literal[
    "below",
    "at_least",
    "present",
    "own_low_quarter",
    "own_high_quarter",
    "below_own_median",
    "above_own_median_by",
]


Topic = Literal["sleep", "stress", "movement", "meals"]
_TOPIC_OF_STREAM: dict[str, Topic] = {
    "sleep": "sleep",
    "stress": "stress",
    "activity": "movement",
}
ClassOfCaution = Literal["refer", "agree", "stop"]


def _classes() -> dict[ClassOfCaution, CautionClass]:
    """Return what is held back by a book that does not say: everything, until it is agreed."""
    careful = CautionClass(opened_by_agreed=("sleep", "stress", "movement", "meals"))
    return {
        "refer": careful,
        "agree": careful,
        "stop": CautionClass(opened_by_agreed=("sleep", "movement")),
    }


class FactorRule(Checked):
    """One habit: where it is read, where it is cut, what it may come before, how it is said."""

    unit: Literal["day", "meal"] = "day"
    stream: str
    column: str
    measure: str
    measure_unit: str
    definition: str = ""
    cut: Cut
    at: float | None = None
    clock: str
    lag: dict[str, int]
    same_time: tuple[str, ...] = ()
    made_from: tuple[NuisanceColumn, ...] = ()
    dose: bool = False
    per: float | None = Field(default=None, gt=0)
    each: str | None = None
    moves_window: tuple[str, ...] = ()
    confounders: tuple[str, ...] = ()
    yields_to: tuple[str, ...] = ()
    could_run_backwards: bool = False
    food: bool = False
    phrase: str
    with_one: str
    with_many: str
    without_many: str
    without_one: str | None = None
    of_several_words: dict[str, str] = Field(default_factory=dict)
    try_: str = Field(alias="try")
    worth_doing_anyway: bool = False
    carry_over_days: int = Field(default=0, ge=0)
    may_be_tested: bool = True
    change_shows: bool = True
    helpful: Literal["with", "without"] = "without"
    topic: Topic | None = None
    asks: float | None = Field(default=None, gt=0)
    source: str

    @property
    def about(self) -> Topic:
        """What a caution holds it back as; what the records do not tell waits like meals."""
        return self.topic or _TOPIC_OF_STREAM.get(self.stream, "meals")

    @property
    def towards_less(self) -> bool:
        """Whether the habit is the low side of its measure: a dose of it is so much less."""
        return self.cut in ("below", "own_low_quarter", "below_own_median")

    @model_validator(mode="after")
    def _dose_is_said(self) -> FactorRule:
        if self.dose and (self.per is None or not self.each):
            raise PydanticCustomError("rulebook.dose_unsaid", "dose_unsaid")
        return self


class OutcomeRule(Checked):
    """One outcome: how it is measured, which way is worse, what is too small to matter, its words.

    Attributes:
        label: its name, a noun: "waking glucose".
        label_of_client: the label for those who read of the client; without it one is for all.
        higher, lower: more and less of it, as nouns: "more time above range".
        was: how a sentence of its size begins: "waking glucose was", "glucose varied by".
        more, less: how such a sentence ends: "higher", "longer".
        was_high: how a sentence of its high units begins: "waking glucose was high".
    """

    unit: Literal["day", "meal"] = "day"
    definition: str
    measure_unit: str
    window: str
    coverage: float = Field(gt=0, le=1)
    worse: Literal["higher", "lower"] = "higher"
    asked_only: bool = False
    smallest_worth_it: float = Field(gt=0)
    plausible_spread: float = Field(gt=0)
    label: str
    label_of_client: str = ""
    higher: str = ""
    lower: str = ""
    was: str = ""
    more: str = "higher"
    less: str = "lower"
    was_high: str = ""
    units_one: str
    units_many: str
    source: str

    def changed(self, difference: float) -> str:
        """Return more or less of it as a noun: "higher waking glucose"."""
        if difference > 0:
            return self.higher or f"higher {self.label}"
        return self.lower or f"lower {self.label}"

    def way(self, difference: float) -> str:
        """Return how a sentence of its size ends: "higher"."""
        return self.more if difference > 0 else self.less

    @property
    def it_was(self) -> str:
        """How a sentence of its size begins: "waking glucose was"."""
        return self.was or f"{self.label} was"

    @property
    def it_was_high(self) -> str:
        """How a sentence that counts high units begins: "waking glucose was high"."""
        return self.was_high or f"{self.label} was high"


WORDS_OF_OUTCOME = ("label_of_client", "higher", "lower", "was", "more", "less", "was_high")


class Guardrails(Checked):
    """The fewest, the largest and the levels: what has to hold before anything is claimed."""

    fewest_days_to_rank: int = Field(ge=5)
    fewest_days_to_describe: int = Field(ge=1)
    fewest_meals_to_rank: int = Field(ge=5)
    fewest_units_each_side: int = Field(ge=2)
    fewest_share_each_side: float = Field(ge=0, lt=0.5)
    fewest_distinct_days_each_side: int = Field(ge=2)
    largest_rule: int = Field(ge=1, le=3)
    units_for_rules_of_three: int = Field(ge=1)
    claim_level: float = Field(gt=0, le=0.2)
    primary_share: float = Field(gt=0, lt=1)
    sets_share: float = Field(gt=0, lt=1)
    dose_penalty: float = Field(ge=0, le=1)
    hint_level: float = Field(gt=0, le=0.2)
    hints_shown: int = Field(ge=0)
    least_share_little_sign: float = Field(ge=0, le=1)
    overlap_not_told_apart: float = Field(gt=0, le=1)
    overlap_travels_with: float = Field(gt=0, le=1)
    least_variation_kept: float = Field(gt=0, lt=1)
    largest_share_tied: float = Field(gt=0, le=1)
    sensor_level_from_days: int = Field(ge=2)
    label_repeats_for_food_factor: int = Field(ge=2)
    draws: int = Field(ge=100)
    shrink_when_one_unit_left_out: float = Field(gt=0, lt=1)
    weekdays_from_days: int = Field(ge=21)
    weekday_level_searched: float = Field(gt=0, le=0.2)
    unbalanced_share: float = Field(ge=0, lt=0.5)
    share_that_matters: float = Field(gt=0, le=1)
    least_spread_in_errors: float = Field(ge=0)


class CautionClass(Checked):
    """What opens what a caution holds back."""

    opened_by_informed: tuple[Topic, ...] = ()
    opened_by_agreed: tuple[Topic, ...] = ()


class Referral(Checked):
    """When a reading calls for a licensed clinician, and what is said then."""

    kind: Literal["wake_at_least", "any_at_least", "any_below", "below_on_days", "a1c_at_least"]
    class_: ClassOfCaution = Field(default="agree", alias="class")
    at: float
    days: int = Field(default=1, ge=1)
    lasting_minutes: float = Field(default=0, ge=0)
    for_diagnosis: bool = False
    say: str
    say_of_many: str = ""
    client_action: str
    source: str

    _placeholders = field_validator("say")(only("at", "days"))
    _placeholders_of_many = field_validator("say_of_many")(only("at"))


class IntakeQuestion(Checked):
    """One question of the intake and what a yes asks for."""

    asked: str
    when_yes: str
    client_action: str = ""
    class_: ClassOfCaution | None = Field(default=None, alias="class")
    medicine: bool = False
    calm: bool = False
    source: str


class Cautions(Checked):
    """What is printed always, what when, and which words make a tag a medicine or an illness."""

    always: tuple[str, ...]
    with_patterns: tuple[str, ...] = ()
    client_always: tuple[str, ...]
    not_asked: str
    class_: dict[ClassOfCaution, CautionClass] = Field(default_factory=_classes, alias="class")
    referral: tuple[Referral, ...]
    intake: dict[str, IntakeQuestion]
    medicine_words: tuple[str, ...]
    glucose_medicine_words: tuple[str, ...] = ()
    alcohol_words: tuple[str, ...]
    pregnancy_words: tuple[str, ...]
    illness_words: tuple[str, ...]
    low_treatment_words: tuple[str, ...] = ()
    low_treatment_labels: tuple[str, ...] = ()
    nothing_eaten_labels: tuple[str, ...] = ()
    not_reported_labels: tuple[str, ...] = ()
    illness_days_around: int = Field(ge=0)

    _placeholders = field_validator("not_asked")(only("names"))


class RuleBook(Checked):
    """All rule books together, with a hash of what they say.

    A name that both units use is in its book once by itself, for days, and once after
    ``meal.``; everywhere else it is said without that, next to the unit.
    """

    factors: dict[str, FactorRule]
    outcomes: dict[str, OutcomeRule]
    guardrails: Guardrails
    cautions: Cautions
    wording: dict[str, Any]
    hash: str

    def outcomes_of(self, unit: str) -> dict[str, OutcomeRule]:
        """Return the outcomes of one unit by name, in order, without those only asked about."""
        start = f"{unit}."
        return {
            name.removeprefix(start): rule
            for name, rule in self.outcomes.items()
            if rule.unit == unit and not rule.asked_only
        }

    def asked_only(self, unit: str) -> dict[str, OutcomeRule]:
        """Return the outcomes of one unit that are only asked about in a fixed question."""
        return {
            name: rule
            for name, rule in self.outcomes.items()
            if rule.unit == unit and rule.asked_only
        }

    def factors_of(self, unit: str) -> dict[str, FactorRule]:
        """Return the factors of one unit by name, in the order of the rule book."""
        start = f"{unit}."
        return {
            name.removeprefix(start): rule
            for name, rule in self.factors.items()
            if rule.unit == unit
        }

    def outcome(self, name: str, unit: str = "day") -> OutcomeRule:
        """Return the rule of an outcome of one unit.

        Raises:
            MinerError: there is none of that name.
        """
        rule = self.outcomes.get(self.key_of(name, unit))
        if rule is None:
            known = self.outcomes_of(unit)
            close = closest(name, known)
            raise MinerError(
                "rulebook.no_outcome", name=name, unit=unit, known=list(known), close=close
            )
        return rule

    def key_of(self, outcome: str, unit: str) -> str:
        """Return the name under which the outcome of one unit is in its book."""
        own = f"{unit}.{outcome}"
        return own if own in self.outcomes else outcome

    def factor(self, name: str, unit: str = "day") -> FactorRule:
        """Return the rule of a factor; ``tag:rain`` takes the words of the rule ``tag:*``.

        Raises:
            MinerError: there is none of that name.
        """
        for own in (f"{unit}.{name}", name):
            if own in self.factors:
                return self.factors[own]
        kind, _, words = name.partition(":")
        pattern = self.factors.get(f"{unit}.{kind}:*") or self.factors.get(f"{kind}:*")
        if pattern is None or not words:
            raise MinerError("rulebook.no_factor", name=name, close=closest(name, self.factors))
        texts = ("phrase", "with_one", "with_many", "without_many", "without_one", "column")
        given = {key: getattr(pattern, key) for key in texts}
        given |= pattern.of_several_words if len(words.split()) > 1 else {}
        said = {key: text and text.replace("{words}", words) for key, text in given.items()}
        return pattern.model_copy(update=said)

    def unit_of(self, factor: str, outcome: str) -> str:
        """Return the unit in which a factor may meet an outcome: days where both units have them.

        ``meal.`` before an outcome asks for meals. A pair that never meets goes by its outcome.
        """
        kind = factor.partition(":")[0]
        for unit in ("day", "meal"):
            rule = self.outcomes.get(self.key_of(outcome.removeprefix(f"{unit}."), unit))
            rule = rule if rule is not None and rule.unit == unit else None
            known = self.factors_of(unit)
            own = known.get(factor) or known.get(f"{kind}:*")
            if rule is not None and own is not None and rule.window in own.lag:
                return unit
        by_meal = outcome.removeprefix("meal.") in self.outcomes_of("meal")
        return "meal" if by_meal and outcome not in self.outcomes_of("day") else "day"


BOOKS = ("factors", "outcomes", "guardrails", "cautions", "wording")
BESIDE = ("exports",)
"""Rule books that no ranking rests on: they are read elsewhere."""


@dataclass(frozen=True, slots=True)
class _Text:
    name: str
    path: Path
    text: bytes


@dataclass(frozen=True, slots=True)
class _Book:
    name: str
    path: Path
    table: Mapping[str, Any]


def load(*replacements: Path) -> RuleBook:
    """Read the shipped rule books; a book in a later folder replaces the one of the same name.

    Args:
        replacements: folders that may hold any of ``factors.toml``, ``outcomes.toml``,
            ``guardrails.toml``, ``cautions.toml``, ``wording.toml``.

    Raises:
        MinerError: a book cannot be read, or a key in it is unknown, missing or out of range.
    """
    for folder in replacements:
        _require_known(folder)
    return _of(tuple(_text(name, replacements) for name in BOOKS))


@lru_cache(maxsize=8)
def _of(texts: tuple[_Text, ...]) -> RuleBook:
    """Return the rule books of these texts: the same texts are read once by a program."""
    books = [_read(text) for text in texts]
    text = b"".join(book.name.encode() + b"\0" + book.text + b"\0" for book in texts)
    tables: dict[str, Any] = {book.name: book.table for book in books}
    try:
        return RuleBook(**tables, hash=hashlib.sha256(text).hexdigest()[:16])
    except ValidationError as error:
        raise _explain(error, books) from error


def _require_known(folder: Path) -> None:
    if not folder.is_dir():
        code = "rulebook.is_file" if folder.exists() else "rulebook.no_folder"
        raise MinerError(code, file=folder)
    known = tuple(f"{name}.toml" for name in (*BOOKS, *BESIDE))
    names = sorted(path.name for path in folder.glob("*.toml"))
    for name in names:
        if name not in known:
            close = closest(name, known)
            raise MinerError("rulebook.unknown", file=folder / name, known=known, close=close)
    if not names:
        raise MinerError("rulebook.none", file=folder, known=known)


def _text(name: str, replacements: tuple[Path, ...]) -> _Text:
    path = resources.folder("rules") / f"{name}.toml"
    for folder in replacements:
        if (folder / path.name).is_file():
            path = folder / path.name
    try:
        return _Text(name, path, path.read_bytes())
    except OSError as error:
        raise _unreadable(path, error) from error


def _unreadable(path: Path, error: Exception) -> MinerError:
    return MinerError("rulebook.unreadable", file=path, reason=str(error))


def _read(book: _Text) -> _Book:
    try:
        return _Book(book.name, book.path, tomllib.loads(book.text.decode("utf-8-sig")))
    except UnicodeDecodeError as error:
        raise _unreadable(book.path, error) from error
    except (ValueError, RecursionError) as error:
        raise MinerError("rulebook.no_toml", file=book.path, reason=str(error)) from error


def _explain(error: ValidationError, books: list[_Book]) -> MinerError:
    first = error.errors()[0]
    place = [str(part) for part in first["loc"]]
    book = next(item for item in books if item.name == place[0])
    found = f"[{'.'.join(place[1:-1])}] {place[-1]}" if place[2:] else ".".join(place[1:])
    if first["type"] == "extra_forbidden":
        models = {"factors": FactorRule, "outcomes": OutcomeRule, "guardrails": Guardrails}
        model = cast("type[BaseModel]", models.get(book.name, Cautions))
        close = closest(place[-1], model.model_fields)
        return MinerError("rulebook.unknown_key", file=book.path, key=found, close=close)
    if first["type"] == "missing":
        return MinerError("rulebook.missing_key", file=book.path, key=found)
    told = first["input"]
    shown = str(told).lower() if isinstance(told, bool) else repr(told)
    expected = expected_of(first)
    return MinerError(
        "rulebook.bad_value", file=book.path, key=found, shown=shown, expected=expected
    )

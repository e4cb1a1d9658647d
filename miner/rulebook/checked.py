"""What every table of a rule book is checked for."""

from __future__ import annotations

from collections.abc import Callable
from string import Formatter
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationInfo, field_validator

_NUMBERS = (int, float, float | None, dict[str, int])


class Checked(BaseModel):
    """A table whose keys are all known, in which true and false are no numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    @field_validator("*", mode="before")
    @classmethod
    def _no_truth_as_number(cls, value: Any, info: ValidationInfo) -> Any:
        given = value.values() if isinstance(value, dict) else (value,)
        kind = cls.model_fields[str(info.field_name)].annotation
        if kind in _NUMBERS and any(isinstance(item, bool) for item in given):
            raise ValueError("a number, not true or false")
        return value


def only(*names: str) -> Callable[[str], str]:
    """Return a check that a text holds no placeholder but these."""

    def check(text: str) -> str:
        found = {name for _, name, _, _ in Formatter().parse(text) if name is not None}
        if unknown := found - set(names):
            raise ValueError(f"no placeholder but {names}, not {sorted(unknown)}")
        return text

    return check

"""Rankings beside the usual one: by the other unit, or of some of the days."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from miner.core import Period, Unit
from miner.core.results import Ranking
from miner.page.asked import Asked
from miner.page.shelf import Entry

_KEY = "ranked"


@dataclass(frozen=True, slots=True)
class Choice:
    """What is ranked.

    Attributes:
        unit: "day" or "meal"; nothing for the practice's own.
        first, last: ISO dates; nothing for all days.
    """

    unit: str = ""
    first: str = ""
    last: str = ""

    @property
    def key(self) -> str:
        """Its name among what was found."""
        return f"{_KEY} {self.unit} {self.first} {self.last}"

    def address(self, asked: Asked) -> str:
        """Return where it is shown."""
        given = {"unit": self.unit, "first": self.first, "last": self.last}
        query = urlencode({name: value for name, value in given.items() if value})
        return asked.at("ranking") + (f"?{query}" if query else "")

    def words(self, entry: Entry) -> str:
        """Return what was ranked, in words."""
        said = f"by {self.unit or entry.client.settings.rank_unit}"
        said += f", from {self.first}" if self.first else ""
        return said + (f", to {self.last}" if self.last else "")


PLAIN = Choice()


def choice_of(asked: Asked, entry: Entry) -> Choice:
    """Return what was asked for.

    Raises:
        MinerError: there is no such unit, a date is none, or the last comes before the first.
    """
    unit = asked.text("unit")
    if unit:
        Unit.of(unit)
    period = Period.of(asked.day("first"), asked.day("last"))
    usual = unit == entry.client.settings.rank_unit
    return Choice("" if usual else unit, period.first or "", period.last or "")


def held(asked: Asked, entry: Entry, choice: Choice) -> Ranking | None:
    """Return such a ranking of these records, made in this run of the page, or None."""
    found = asked.desk.found.get((asked.code, choice.key))
    if isinstance(found, tuple) and found[0] == entry.key and isinstance(found[1], Ranking):
        return found[1]
    looked = asked.desk.shelf.last_ranking(entry)
    by_meal = looked.brief.by_meal if looked is not None else None
    return by_meal if choice == Choice("meal") else None


def others(asked: Asked, entry: Entry) -> list[Choice]:
    """Return the rankings of these records that can be shown, the usual one first."""
    looked = asked.desk.shelf.last_ranking(entry)
    made = [PLAIN] if looked is not None else []
    made += [Choice("meal")] if looked is not None and looked.brief.by_meal is not None else []
    for code, key in list(asked.desk.found):
        if code == asked.code and key.startswith(f"{_KEY} "):
            choice = Choice(*key.removeprefix(f"{_KEY} ").split(" "))
            if choice not in made and held(asked, entry, choice) is not None:
                made.append(choice)
    return made

"""Rankings beside the usual one: by the other unit, or of some of the days."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from miner.core import Period, Unit
from miner.core.results import Ranking
from miner.page.client_cache import ClientEntry
from miner.page.request import PageRequest

_KEY = "ranked"


@dataclass(frozen=True, slots=True)
class RankingChoice:
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

    def address(self, request: PageRequest) -> str:
        """Return where it is shown."""
        given = {"unit": self.unit, "first": self.first, "last": self.last}
        query = urlencode({name: value for name, value in given.items() if value})
        return request.at("ranking") + (f"?{query}" if query else "")

    def words(self, entry: ClientEntry) -> str:
        """Return what was ranked, in words."""
        said = f"by {self.unit or entry.client.settings.rank_unit}"
        said += f", from {self.first}" if self.first else ""
        return said + (f", to {self.last}" if self.last else "")


PLAIN = RankingChoice()


def choice_of(request: PageRequest, entry: ClientEntry) -> RankingChoice:
    """Return what was asked for.

    Raises:
        MinerError: there is no such unit, a date is none, or the last comes before the first.
    """
    unit = request.text("unit")
    if unit:
        Unit.of(unit)
    period = Period.of(request.day("first"), request.day("last"))
    usual = unit == entry.client.settings.rank_unit
    return RankingChoice("" if usual else unit, period.first or "", period.last or "")


def held(request: PageRequest, entry: ClientEntry, choice: RankingChoice) -> Ranking | None:
    """Return such a ranking of these records, made in this run of the page, or None."""
    found = request.state.found.get((request.code, choice.key))
    if isinstance(found, tuple) and found[0] == entry.key and isinstance(found[1], Ranking):
        return found[1]
    cached = request.state.clients.last_ranking(entry)
    by_meal = cached.brief.by_meal if cached is not None else None
    return by_meal if choice == RankingChoice("meal") else None


def others(request: PageRequest, entry: ClientEntry) -> list[RankingChoice]:
    """Return the rankings of these records that can be shown, the usual one first."""
    cached = request.state.clients.last_ranking(entry)
    made = [PLAIN] if cached is not None else []
    made += (
        [RankingChoice("meal")] if cached is not None and cached.brief.by_meal is not None else []
    )
    for code, key in list(request.state.found):
        if code == request.code and key.startswith(f"{_KEY} "):
            choice = RankingChoice(*key.removeprefix(f"{_KEY} ").split(" "))
            if choice not in made and held(request, entry, choice) is not None:
                made.append(choice)
    return made

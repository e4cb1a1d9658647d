"""What a practice settles for all its clients: units, what is ranked, tags that mean the same."""

from __future__ import annotations

from starlette.responses import Response

from miner.core.messages import MinerError, message
from miner.page.places import address
from miner.page.render import page
from miner.page.request import PageRequest
from miner.rulebook import RuleBook
from miner.steps.settings import change_practice, choices, practice_file, stamp
from miner.words.pages import MEAL_ALONE, UNIT_TITLES
from miner.words.safe import clean
from miner.words.said import rules_at_door

CHOSEN = ("display_unit", "rank_unit")
LONGEST_WORDS, MOST_SYNONYMS = 60, 300


def show(request: PageRequest) -> Response:
    """Show the settings of the practice."""
    practice = request.state.practice
    held = practice_file(practice)
    return page(
        request,
        "settings.html",
        held=held,
        displays=choices("display_unit"),
        ranked=choices("rank_unit"),
        seen=stamp(practice / "practice.toml"),
        outcomes=_outcomes(rules_at_door(request.state.rules)),
        synonyms="\n".join(f"{old} = {new}" for old, new in held.synonyms.items()),
    )


def save(request: PageRequest) -> Response:
    """Write the settings of the practice: all of them, or none."""
    practice, first = request.state.practice, request.text("primary_outcome")
    known = [name for _, group in _outcomes(request.state.rules) for name, _ in group]
    if first not in ("", *known):
        raise MinerError("page.not_to_be_chosen", value=first[:40], known=", ".join(known))
    values: dict[str, object] = {
        "primary_outcome": first or None,
        "synonyms": _synonyms(request.text("synonyms")),
    }
    held = practice_file(practice)
    for key in CHOSEN:
        if request.text(key) != (getattr(held, key) or choices(key)[0]):
            values[key] = request.text(key)
    change_practice(practice, values, request.seen)
    return request.go(address("settings"), message("page.practice_written"))


def _outcomes(rules: RuleBook) -> list[tuple[str, list[tuple[str, str]]]]:
    by_day, by_meal = rules.outcomes_of("day"), rules.outcomes_of("meal")
    alone = {name: rule for name, rule in by_meal.items() if name not in by_day}
    return [
        (title, [(name, rule.label) for name, rule in group.items()])
        for title, group in ((UNIT_TITLES["day"], by_day), (MEAL_ALONE, alone))
    ]


def _synonyms(text: str) -> dict[str, str]:
    """Return the lines ``these words = those words``.

    Raises:
        MinerError: a line is none.
    """
    found: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), 1):
        old, mark, new = (part.strip().strip('"').strip() for part in line.partition("="))
        if not line.strip():
            continue
        if not (old and mark and new) or max(len(old), len(new)) > LONGEST_WORDS:
            raise MinerError("page.no_synonym", number=number, words=line.strip()[:40])
        if found.get(old, new) != new:
            raise MinerError("page.two_meanings", old=old)
        found[clean(old, LONGEST_WORDS)] = clean(new, LONGEST_WORDS)
    if len(found) > MOST_SYNONYMS:
        raise MinerError("page.too_many_names", n=len(found), most=MOST_SYNONYMS)
    return found

"""What a practice settles for all its clients: units, what is ranked, tags that mean the same."""

from __future__ import annotations

import tomlkit
from starlette.responses import Response
from tomlkit import TOMLDocument

from miner.core.messages import MinerError, message
from miner.page.render import page
from miner.page.request import PageRequest, address
from miner.page.rule_change import rules_of
from miner.records.read.settings import PracticeFile
from miner.records.read.toml_file import read_toml
from miner.records.write.settings_file import change, set_key, stamp
from miner.rulebook import RuleBook
from miner.words.pages import MEAL_ALONE, UNIT_TITLES
from miner.words.safe import clean
from miner.words.said import rules_at_door

NAME = "practice.toml"
DISPLAY = ("mg/dL", "mmol/L")
RANKED = ("day", "meal")
LONGEST_WORDS, MOST_SYNONYMS = 60, 300


def show(request: PageRequest) -> Response:
    """Show the settings of the practice."""
    path = request.state.practice / NAME
    held = read_toml(path, PracticeFile)
    return page(
        request,
        "settings.html",
        held=held,
        displays=DISPLAY,
        ranked=RANKED,
        seen=stamp(path),
        outcomes=_outcomes(rules_at_door(rules_of(request.state.practice))),
        synonyms="\n".join(f"{old} = {new}" for old, new in held.synonyms.items()),
    )


def save(request: PageRequest) -> Response:
    """Write the settings of the practice: all of them, or none."""
    practice = request.state.practice
    known = [name for _, group in _outcomes(rules_of(practice)) for name, _ in group]
    chosen = {
        "display_unit": _one_of(request, "display_unit", DISPLAY),
        "rank_unit": _one_of(request, "rank_unit", RANKED),
        "primary_outcome": _one_of(request, "primary_outcome", ("", *known)),
    }
    usual = {"display_unit": DISPLAY[0], "rank_unit": RANKED[0], "primary_outcome": ""}
    synonyms = _synonyms(request.text("synonyms"))

    def edit(document: TOMLDocument) -> None:
        for key, value in chosen.items():
            if key in document or value != usual[key]:
                set_key(document, key, value or None)
        table = document.setdefault("synonyms", tomlkit.table()) if synonyms else {}
        for old in [old for old in document.get("synonyms", {}) if old not in synonyms]:
            document["synonyms"].pop(old)
        for old, new in synonyms.items():
            if table.get(old) != new:
                table[old] = new

    change(practice / NAME, PracticeFile, edit, request.seen)
    return request.go(address("settings"), message("page.practice_written"))


def _outcomes(rules: RuleBook) -> list[tuple[str, list[tuple[str, str]]]]:
    by_day, by_meal = rules.outcomes_of("day"), rules.outcomes_of("meal")
    alone = {name: rule for name, rule in by_meal.items() if name not in by_day}
    return [
        (title, [(name, rule.label) for name, rule in group.items()])
        for title, group in ((UNIT_TITLES["day"], by_day), (MEAL_ALONE, alone))
    ]


def _one_of(request: PageRequest, name: str, known: tuple[str, ...]) -> str:
    value = request.text(name)
    if value not in known:
        raise MinerError(
            "page.not_to_be_chosen", value=value[:40], known=", ".join(filter(None, known))
        )
    return value


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

"""What may be chosen of a pattern, and the short code by which a choice comes back from paper.

A code is the letter of the choice, five letters for the beginning of the pattern's ID and a check
letter: W-EPCKL-H. It has no number in it, as a page may have none. The check letter goes by the
client as well. It finds one letter that is another and two that changed places (a weighted sum in a
prime number of letters, as in ISO 7064).
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence

from miner.core.facts import HELD
from miner.core.messages import MinerError
from miner.core.results import CautionText, Evidence, Hypothesis
from miner.core.results.follow import ANYWAY, KEPT_AS, LEAVE, TEST, WATCH, ChosenIdea, Offer
from miner.followup.refusals import HeldBack, require_testable, require_worth_doing
from miner.ledger import FollowupState, Kept, Left
from miner.rulebook import RuleBook

LETTERS: Mapping[str, str] = {TEST: "T", ANYWAY: "D", WATCH: "W", LEAVE: "L"}
CHECKS = "ABCDEFGHJKLMNPRSTUVWXYZ"
"""23 letters, a prime number of them; I, O and Q look like figures."""
DIGITS = CHECKS[:16]
"""A letter for each hexadecimal digit of an ID."""
LONG = 5
_SHOWN = (Evidence.CLEAR, Evidence.HINT)
_CODE = re.compile(rf"[{''.join(LETTERS.values())}][{DIGITS}]{{{LONG}}}[{CHECKS}]")


def offered(
    item: Hypothesis, unit: str, rules: RuleBook, cautions: Sequence[CautionText], client: str
) -> Offer:
    """Return what may be chosen of a pattern of one client, and what opens what is held back.

    Args:
        item: as ranked.
        unit: "day" or "meal".
        rules: the rule books.
        cautions: what has to be said of this client.
        client: its code, which the short codes are for.
    """
    lifts, possible = [], []
    for choice in (TEST, ANYWAY) if item.evidence in _SHOWN else ():
        try:
            require_possible(choice, item, unit, rules, HeldBack(cautions))
        except MinerError as error:
            lifts += [error.code] if error.code.startswith(HELD) else []
        else:
            possible.append(choice)
    if item.difference and item.evidence is not Evidence.LITTLE_SIGN:
        possible.append(WATCH)
    codes = {choice: code_of(choice, item.id, client) for choice in (*possible, LEAVE)}
    lift = lifts[0].removeprefix(HELD) if lifts else ""
    return Offer(codes, "never" if lift == "always" else lift)


def require_possible(
    choice: str,
    item: Hypothesis,
    unit: str,
    rules: RuleBook,
    held: HeldBack,
) -> None:
    """Refuse a test, or a change made anyway, that must not be asked for.

    Raises:
        MinerError: it must not, with the reason and what can be done.
    """
    asked: Mapping[str, Callable[..., object]] = {
        TEST: require_testable,
        ANYWAY: require_worth_doing,
    }
    if choice in asked:
        way = "up" if (item.difference or 0.0) > 0 else "down"
        worse = rules.outcome(item.outcome, unit).worse
        asked[choice](item.factors, unit, way, worse, rules, held)


def code_of(choice: str, id_: str, client: str) -> str:
    """Return the short code of a choice.

    Args:
        choice: of ``KEPT_AS``.
        id_: of the pattern, hexadecimal.
        client: the client's code.
    """
    start = LETTERS[choice] + "".join(DIGITS[int(mark, 16)] for mark in id_[:LONG])
    return f"{start[0]}-{start[1:]}-{_check(start, client)}"


def read_code(text: str, client: str, ids: Iterable[str]) -> tuple[str, str]:
    """Return the pattern's ID and the choice that a short code means.

    Args:
        text: as it was written; hyphens, spaces and small letters do not matter.
        client: the client's code.
        ids: of every pattern of this client.

    Raises:
        MinerError: it is no code, a letter of it is wrong, it is of another client, or no pattern
            or several begin so.
    """
    plain = re.sub(r"[\s-]", "", text).upper()
    if not _CODE.fullmatch(plain):
        raise MinerError("followup.no_code", given=text[:40])
    if plain[-1] != _check(plain[:-1], client):
        raise MinerError("followup.code_slip", given=text[:40], client=client)
    begins = "".join(f"{DIGITS.index(mark):x}" for mark in plain[1:-1])
    meant = sorted({id_ for id_ in ids if id_.startswith(begins)})
    if len(meant) != 1:
        code = "followup.code_of_several" if meant else "followup.code_of_none"
        raise MinerError(code, given=text[:40], ids=meant)
    choice = next(choice for choice, letter in LETTERS.items() if letter == plain[0])
    return meant[0], choice


def _check(start: str, client: str) -> str:
    values = [tuple(LETTERS.values()).index(start[0]), *map(DIGITS.index, start[1:])]
    total = sum(weight * value for weight, value in enumerate(values, 1))
    return CHECKS[(total + zlib.crc32(client.encode())) % len(CHECKS)]


def standing(story: FollowupState, last: str | None) -> dict[str, ChosenIdea]:
    """Return what is chosen as a ledger comes to it, as ``chosen_now``."""
    chosen = {as_: choice for choice, as_ in KEPT_AS.items()}
    found = [
        _chosen(item, chosen[item.as_], planned=item.plan_open() is not None)
        for item in story.open_on(last)
    ]
    found += [_chosen(item, LEAVE) for item in story.still_left]
    return {item.id: item for item in found}


def _chosen(item: Kept | Left, choice: str, *, planned: bool = False) -> ChosenIdea:
    what, on = item.what, item.entry.at[:10]
    return ChosenIdea(what.id, choice, on, what.factors, what.outcome, what.unit_of, planned)

"""The four pages of a client, each a file of its own that asks for nothing else."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from miner.core.errors import MinerError
from miner.core.results.briefing import Briefing
from miner.render.drawn import Studio
from miner.render.figures.inline import Styles
from miner.render.papers.doctor import doctor
from miner.render.papers.page import fill
from miner.render.papers.preparation import preparation
from miner.render.papers.session import session
from miner.render.papers.take_home import MOST_ON_ONE_SIDE, take_home
from miner.rulebook import RuleBook
from miner.words.audience import Audience, said_to
from miner.words.teller import Teller

_MAKERS: Mapping[str, tuple[Audience, Callable[[Teller, Studio], dict[str, Any]]]] = {
    "preparation": (Audience.PRACTITIONER, preparation),
    "session": (Audience.CLIENT, session),
    "take-home": (Audience.CLIENT, take_home),
    "doctor": (Audience.DOCTOR, doctor),
}
KINDS = tuple(_MAKERS)
SHARED_KINDS = ("session", "take-home", "doctor")


def render(brief: Briefing, kind: str, rules: RuleBook, include: Sequence[str] = ()) -> str:
    """Return one page as HTML.

    Args:
        brief: what is known of the client.
        kind: one of ``KINDS``.
        rules: the rule books, for the words.
        include: the hypotheses chosen to be shown, by ID.

    Raises:
        MinerError: there is no such page, or more was chosen than it holds.
    """
    if kind not in _MAKERS:
        raise MinerError(f"there is no page '{kind}'", f"one of {', '.join(KINDS)}", "Choose one.")
    chosen = tuple(dict.fromkeys(include))
    if kind == "take-home" and len(chosen) > MOST_ON_ONE_SIDE:
        raise MinerError(
            f"{len(chosen)} hypotheses for one printed side",
            f"at most {MOST_ON_ONE_SIDE}",
            "Choose the ones that matter most for the weeks to come.",
        )
    audience, make = _MAKERS[kind]
    styles = Styles()
    teller = Teller(brief, said_to(rules, audience), chosen)
    context = make(teller, Studio(teller, styles))
    return fill(f"{kind}.html", styles, **context)

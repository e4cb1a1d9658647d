"""One printed side in short words: what was seen, what to try, when to call, when to stop."""

from __future__ import annotations

from typing import Any

from miner.core.results import Evidence, Hypothesis
from miner.core.results.briefing import TrialDates
from miner.render.drawn import Studio
from miner.render.papers.session import month_sentence, nothing_stood_out, nothing_words, unasked
from miner.words.labels import evidence_of
from miner.words.safe import clean
from miner.words.sentences import say
from miner.words.teller import Teller
from miner.words.wording import capital, day_and_month

MOST_ON_ONE_SIDE = 3


def take_home(teller: Teller, studio: Studio) -> dict[str, Any]:  # noqa: ARG001 - no figures here
    """Return what the take-home template asks for."""
    brief, rules = teller.brief, teller.rules
    shown = list(_told(teller).values())[: MOST_ON_ONE_SIDE + 2]
    seen = [
        (one, item)
        for one, item in shown
        if item.evidence is not Evidence.CANNOT_TELL or one.ended(item)
    ]
    none = nothing_stood_out(teller)
    nothing = nothing_words(teller) if none else ""
    fixed = {key: say(rules, "home", key) for key in ("leave_alone", "call", "stop")}
    return {
        "client": teller.client,
        "calm": brief.calm,
        "too_few": brief.ranking.status == "too_few",
        "unasked": unasked(teller),
        "nothing": nothing,
        "looked": month_sentence(teller),
        "actions": brief.actions,
        "seen": [_seen(one, item) for one, item in seen],
        "not_told": [
            capital(f"{one.phrases(item)}, and {one.label(item)}.")
            for one, item in shown
            if item.evidence is Evidence.CANNOT_TELL
        ],
        "trial": None if brief.trial is None else _trial(brief.trial),
        "tries": list(dict.fromkeys(text for one, item in seen for text in one.tries(item))),
        "good_to_know": [text for text in teller.always() if text not in fixed.values()],
        **fixed,
    }  # fmt: skip


def _told(teller: Teller) -> dict[str, tuple[Teller, Hypothesis]]:
    """Return what was chosen, then the client's own questions, each with its teller."""
    each = list(teller.each())
    chosen = [(one, item) for one in each for item in one.chosen()]
    asked = [(one, item) for one in each for item in one.questions()]
    return {item.id: (one, item) for one, item in [*chosen, *asked]}


def _trial(trial: TrialDates) -> dict[str, str]:
    def told(spans: tuple[tuple[str, str], ...]) -> str:
        return ", ".join(
            day_and_month(first) if first == last
            else f"{day_and_month(first, short=True)} to {day_and_month(last, short=True)}"
            for first, last in spans
        )  # fmt: skip

    return {
        "change": clean(trial.change), "change_days": told(trial.change_days),
        "usual_days": told(trial.usual_days),
    }  # fmt: skip


def _seen(teller: Teller, item: Hypothesis) -> dict[str, str]:
    if teller.brief.calm:
        return {"label": "", "sentence": teller.calmly(item), "evidence": teller.ended(item)}
    said = [teller.counted(item)]
    if item.evidence is Evidence.CLEAR and item.could_run_backwards:
        said.append(say(teller.rules, "sentence", "backwards"))
    return {
        "label": capital(teller.label(item)),
        "sentence": " ".join(said),
        "evidence": f"{evidence_of(item, teller.rules, client=True)} {teller.ended(item)}".strip(),
    }

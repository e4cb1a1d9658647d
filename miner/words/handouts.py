"""The words of the pages that leave the practice: for the session, to take home, for the doctor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isinf
from typing import Any

from miner.core.messages import Message, message, several
from miner.core.results import CautionKind, CautionText, Evidence, Hypothesis, Shape
from miner.core.results.briefing import MAX_ON_ONE_SIDE, Measure, TrialDates
from miner.core.results.follow import Offer
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.choosing import WAITS, options
from miner.words.followed import followed_by
from miner.words.meals import comparison_sentence
from miner.words.safe import clean
from miner.words.sentences import could_have_shown, evidence_of, on_a_told_date
from miner.words.teller import Teller
from miner.words.wording import capital, day_and_month, few, full_date, say

_TOLD = (Evidence.CLEAR, Evidence.HINT)


def session(teller: Teller) -> dict[str, Any]:
    """Return the words of the page to present, a card for each hypothesis shown."""
    calm = teller.brief.calm
    by_day, *by_meal = (_cards(one) for one in teller.each())
    read, open_ = followed_by(teller)
    return {
        **teller.facts(),
        "followed": read,
        "also": [one.told() for one in open_],
        "headline": headline(teller),
        "nothing": nothing_stood_out(teller),
        "unasked": unasked(teller),
        "month_sentence": month_sentence(teller),
        "questions": [*by_day[0], *(item for asked, _ in by_meal for item in asked)],
        "cards": by_day[1],
        "meals": [item for _, chosen in by_meal for item in chosen],
        "times": [] if calm else teller.by_clock(),
        "outcomes": list(
            dict.fromkeys((i.outcome, one.label(i)) for one in teller.each() for i in one.chosen())
        ),
        "counted": counted(teller),
        "always": teller.always(),
    }


def _cards(teller: Teller) -> tuple[list[Card], list[Card]]:
    """Return the cards of the client's own questions, and of what was chosen."""
    chosen = teller.chosen()
    asked = [Card(teller, item) for item in teller.questions() if item not in chosen]
    return asked, [Card(teller, item) for item in chosen]


def headline(teller: Teller) -> str:
    """Return the first line: what stood out of what is shown, and never more than that."""
    ranking, rules = teller.brief.ranking, teller.rules
    if ranking.status == "too_few":
        return say(rules, "client", "too_few")
    if unasked(teller):
        return say(rules, "client", "unasked")
    if nothing_stood_out(teller):
        return nothing_words(teller)
    shown = {item.id: item for one in teller.each() for item in [*one.chosen(), *one.questions()]}
    clear = sum(item.evidence is Evidence.CLEAR and not item.small for item in shown.values())
    if clear and not teller.brief.calm:
        if any(on_a_told_date(item) for item in shown.values()):
            return say(rules, "client", "clear_if")
        return say(rules, "client", "clear_one" if clear == 1 else "clear_many", count=clear)
    if not clear and not _any_clear(teller):
        return say(rules, "client", "not_clear", days=teller.days)
    first, last = teller.span or ("", "")
    return say(rules, "client", "plain", first=first, last=last)


def nothing_words(teller: Teller) -> str:
    """Return that no habit stood out, where one would have; else that we could not tell."""
    rankings = [one.brief.ranking for one in teller.each()]
    shown = any(could_have_shown(ranking, teller.rules) for ranking in rankings)
    key = "nothing" if shown else "could_not_tell"
    return say(teller.rules, "client", key, days=teller.days)


def nothing_stood_out(teller: Teller) -> bool:
    """Say whether the first screen is the one of a month in which nothing stood out."""
    told = any(
        item.evidence is Evidence.HINT
        for one in teller.each()
        for item in [*one.chosen(), *one.questions()]
    )
    ranked = teller.brief.ranking.status != "too_few" and not unasked(teller)
    return ranked and not _any_clear(teller) and not told


def unasked(teller: Teller) -> bool:
    """Say whether the days were enough and yet no habit could be compared on them."""
    ranked = teller.brief.ranking.status != "too_few"
    return ranked and not any(one.brief.ranking.questions_asked for one in teller.each())


def month_sentence(teller: Teller) -> str:
    """Return the record in a sentence, or nothing without days."""
    if teller.span is None:
        return ""
    first, last = teller.span
    check = teller.brief.check
    key = "looked_calm" if teller.brief.calm else "looked"
    return say(
        teller.rules,
        "client",
        key,
        first=first,
        last=last,
        usable=check.usable_days,
        days=several(check.days, "day"),
    )


def counted(teller: Teller) -> dict[str, int] | None:
    """Return how much was looked at and what could not be, or None where it is not told."""
    ranking = teller.brief.ranking
    if teller.brief.calm or ranking.status == "too_few" or unasked(teller):
        return None
    each = list(teller.each())
    asked = sum(one.brief.ranking.questions_asked for one in each)
    open_ = [item for one in each for item in one.level(Evidence.CANNOT_TELL)]
    closed = [item for item in open_ if item.p is None]
    little = sum(len(one.level(Evidence.LITTLE_SIGN)) for one in each)
    return {
        "asked": asked,
        "cannot_tell": len(open_) - len(closed),
        "little_sign": little,
        "closed": len(closed),
    }


def _any_clear(teller: Teller) -> bool:
    return any(
        item.evidence is Evidence.CLEAR
        for one in teller.each()
        for item in one.brief.ranking.hypotheses
    )


def referral(teller: Teller) -> dict[str, Any]:
    """Return the words of a page of a client who is to see a clinician before anything else.

    No pattern is on it, and nothing to try; the reason only where readings are it, and no number
    where there are to be none.
    """
    said, brief = teller.cautions, teller.brief
    readings = [one for one in said.ahead if one.kind is CautionKind.REFERRAL]
    reasons = [
        str(message(one.rests_on.code.replace("tables.", "words.client_"), **one.rests_on.values))
        for one in readings
        if isinstance(one.rests_on, Message) and not brief.calm
    ]
    of_readings = {one.action for one in readings}
    actions = [one.action for one in said.ahead if one.action and one.action not in of_readings]
    actions, first = list(dict.fromkeys(actions)), str(message("words.client_first"))
    return {
        **teller.facts(),
        "title": first if readings or not actions else actions.pop(0),
        "reasons": reasons,
        "others": actions,
        "blood": bool(said.kinds & set(_HIGH)),
        "at_once": said.at_once,
        **{key: say(teller.rules, "home", key) for key in ("call", "stop")},
    }


_HIGH = ("tables.wake_at_least", "tables.any_at_least", "tables.a1c_at_least")


def take_home(teller: Teller) -> dict[str, Any]:
    """Return the words of one printed side: what was seen, what to try, when to stop."""
    brief, rules = teller.brief, teller.rules
    shown = list(_told(teller).values())[: MAX_ON_ONE_SIDE + 2]
    seen = [
        (one, item)
        for one, item in shown
        if item.evidence is not Evidence.CANNOT_TELL or one.ended(item)
    ]
    none = nothing_stood_out(teller)
    nothing = nothing_words(teller) if none else ""
    fixed = {key: say(rules, "home", key) for key in ("leave_alone", "call", "stop")}
    return {
        **teller.facts(),
        "followed": followed_by(teller)[0][-1:],
        "unasked": unasked(teller),
        "nothing": nothing,
        "looked": month_sentence(teller),
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
    }


def _told(teller: Teller) -> dict[str, tuple[Teller, Hypothesis]]:
    """Return what was chosen, then the client's own questions, each with its teller."""
    each = list(teller.each())
    chosen = [(one, item) for one in each for item in one.chosen()]
    asked = [(one, item) for one in each for item in one.questions()]
    return {item.id: (one, item) for one, item in [*chosen, *asked]}


def _trial(trial: TrialDates) -> dict[str, str]:
    def told(spans: tuple[tuple[str, str], ...]) -> str:
        return ", ".join(
            day_and_month(first)
            if first == last
            else f"{day_and_month(first, short=True)} to {day_and_month(last, short=True)}"
            for first, last in spans
        )

    return {
        "change": clean(trial.change),
        "change_days": told(trial.change_days),
        "usual_days": told(trial.usual_days),
    }


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


def doctor(teller: Teller) -> dict[str, Any]:
    """Return the words for the doctor: what was measured, what was tested, and no advice."""
    brief, check = teller.brief, teller.brief.check
    glucose = check.streams.get("glucose")
    shown = {
        item.id: (one, item) for one in teller.each() for item in [*one.questions(), *one.chosen()]
    }
    every = f"{glucose.cadence_min:g}" if glucose and glucose.cadence_min else None
    return {
        **teller.facts(),
        "referred": [_referred(one, teller) for one in check.cautions if one.days],
        "told_on": teller.cautions.told_on,
        "medicine": teller.cautions.medicine,
        "worn": _worn(len({day.sensor for day in brief.days if day.sensor}), every),
        "measures": [measured(item, teller) for item in brief.measures],
        "intake": _intake(brief.intake),
        "medicine_tags": [clean(tag, 60) for tag in brief.medicine_tags],
        "asked": sum(
            one.brief.ranking.questions_asked
            for one in teller.each()
            if one.brief.ranking.status != "too_few"
        ),
        "tested": [tested(item, one) for one, item in shown.values()],
    }


def _referred(one: CautionText, teller: Teller) -> tuple[str, str, str]:
    """Return a reason in numbers: the rule with its days, the worst value, the dates."""
    worst = teller.amounts.level(one.worst, "mg/dL")
    if one.worst is not None and isinf(one.worst):
        worst = str(message("words.beyond_high" if one.worst > 0 else "words.beyond_low"))
    dates = few([day_and_month(day, short=True) for day in one.days], MOST_DATES)
    return capital(one.short), worst, dates


MOST_DATES = 12


def _intake(answers: Mapping[str, str]) -> list[str]:
    """Return the questions of the intake, those answered alike in one sentence."""
    by_answer = {
        answer: [question for question, told in answers.items() if told == answer]
        for answer in ("yes", "no", "not_asked")
    }
    return [
        f"{capital(answer.replace('_', ' '))}: {'; '.join(questions)}."
        for answer, questions in by_answer.items()
        if questions
    ]


def _worn(sensors: int, every: str | None) -> str:
    parts = [several(sensors, "sensor")] if sensors else []
    parts += [f"one reading every {every} min"] if every else []
    return f"{capital(', '.join(parts))}." if parts else ""


def measured(item: Measure, teller: Teller) -> tuple[str, str, str]:
    """Return a measure's name, its value with its unit, and its definition, in the unit shown."""
    name, definition = _name(item, teller), str(item.definition)
    if item.value is None:
        return name, "not known", definition
    if item.unit == "share":
        return name, f"{100 * item.value:.1f} %", definition
    amounts = teller.amounts
    number = amounts.size if item.name.code == "tables.measure_sd" else amounts.level
    return name, f"{number(item.value, item.unit)} {amounts.unit(item.unit)}", definition


def _name(item: Measure, teller: Teller) -> str:
    limits: Mapping[str, Any] = item.name.values
    if teller.brief.display_unit != "mmol/L" or not limits:
        return str(item.name)
    shown = {name: limit / MG_DL_PER_MMOL_L for name, limit in limits.items()}
    return str(Message(f"{item.name.code}_mmol", shown))


def tested(item: Hypothesis, teller: Teller) -> dict[str, str]:
    """Return one tested question: its counts, its difference with interval, and its level."""
    return {
        "title": teller.title(item),
        "kind": "fixed before the records" if item.family == "fixed" else "found by search",
        "counts": clean(capital(teller.sentence(item))),
        "size": teller.hypothesis.difference(item),
        "evidence": f"{evidence_of(item, teller.rules, client=True)} {teller.ended(item)}".strip(),
    }


MEALS_ALLOWED_FOR = (
    "Which meal it was, its carbohydrate where noted, and the level it began at are allowed for."
)


WHICH_MEAL_ALLOWED_FOR = "Which meal it was, and the level it began at, are allowed for."


BACKWARDS = {
    "same_day": "Yes, it could. We do not know why the two came at the same time.",
    "precedes": "Yes, that could be.",
}


@dataclass(frozen=True, slots=True)
class Card:
    """One hypothesis on a page to present: what was counted, how large, how lucky, what to choose.

    Attributes:
        teller: of the ranking that it is in.
        item: what it tells.
    """

    teller: Teller
    item: Hypothesis

    def told(self) -> dict[str, Any]:
        """Return all words of the card; without numbers where it is calm."""
        teller, calm = self.teller, self.teller.brief.calm
        offer = teller.brief.offers.get(self.item.id, Offer({}))
        told = {
            "id": self.item.id,
            "outcome": self.item.outcome,
            "label": teller.label(self.item),
            "title": teller.title(self.item),
            "evidence": evidence_of(self.item, teller.rules, client=True),
            "asked": self._asked(),
            "before": teller.ended(self.item),
            "along": list(dict.fromkeys(map(clean, teller.travels(self.item, teller.hides)))),
            "backwards": BACKWARDS[self.item.relation] if self.item.could_run_backwards else "",
            "tries": teller.tries(self.item),
            "choices": options(offer),
            "waits": WAITS.get(offer.lift, ""),
        }
        if calm:
            return told | {"calm": True, "sentence": teller.calmly(self.item)}
        return told | {
            "calm": False,
            "sentence": clean(teller.sentence(self.item)),
            "difference": self.difference(),
            "luck": self.luck(),
            "reasons": teller.reasons(self.item, teller.hides),
            "settle": self.settle(),
            "dose": self.item.shape is Shape.DOSE,
            "real": self.real(),
            "high": self.item.counts.high > 0,
            "pairs": self.pairs(),
        }

    def pairs(self) -> dict[str, Any] | None:
        """Return similar meals with and without it side by side, or None without any."""
        found, teller = self.teller.brief.pairs.get(self.item.id), self.teller
        if found is None:
            return None
        sentence = comparison_sentence(found, teller.rules, teller.brief.display_unit)
        spread, said = found.repeats.spread, [sentence]
        if spread is not None:
            size, unit = self._size(spread), teller.amounts.unit(self.item.unit)
            said.append(f"The same meal twice differs by about {size} {unit} by itself.")
        return {"said": [clean(text) for text in said]}

    def difference(self) -> list[str]:
        """Return the difference beside its interval, what matters and what is ordinary."""
        if self.item.difference is None:
            return []
        teller, unit = self.teller, self.teller.amounts.unit(self.item.unit)
        way = "higher" if self.item.difference > 0 else "lower"
        size = self._size(self.item.difference)
        each = teller.each_more(self.item) or "it"
        said = [f"{capital(teller.label(self.item))} was about {size} {unit} {way} with {each}."]
        said += [f"It could be {self._between(self.item.interval)}."] if self.item.interval else []
        worth = teller.outcome(self.item).smallest_worth_it / self.item.span
        said.append(f"Less than {self._size(worth)} is too small to matter.")
        summary = teller.summary(self.item)
        whole = self.item.shape is Shape.CUT
        if whole and summary is not None and summary.ordinary_wobble is not None:
            size, one = self._size(summary.ordinary_wobble), teller.unit
            said.append(f"From {one} to {one} it varies by about {size} {unit} anyway.")
        if teller.unit == "meal":
            own = any("carbs_g" in factor.made_from for factor in teller.factors(self.item))
            said.append(WHICH_MEAL_ALLOWED_FOR if own else MEALS_ALLOWED_FOR)
        return said

    def luck(self) -> str:
        """Return how often luck alone would show as much."""
        return self.item.luck_sentence if self.item.evidence in _TOLD else ""

    def settle(self) -> str:
        """Return what would settle it."""
        if self.item.evidence is Evidence.CLEAR:
            return "A test of your own would: some weeks with, some without, by the toss of a coin."
        if self.item.evidence is Evidence.LITTLE_SIGN:
            return "Little is left to settle."
        if self.item.days_to_settle:
            return f"About {several(self.item.days_to_settle, 'more day')} of notes mostly would."
        return "More days with it and without it might."

    def _asked(self) -> str:
        if self.item.family != "fixed" or not self.item.fixed_on:
            return ""
        key = "told" if self.item.fixed_proven is False else "proven"
        return say(self.teller.rules, "fixed", key, day=full_date(self.item.fixed_on))

    def real(self) -> int | None:
        """Return which panel of its line-up is the recorded one, counted from 1."""
        found = self.teller.brief.lineups.get(self.item.id)
        return None if found is None else found.real + 1

    def _size(self, value: float) -> str:
        return self.teller.amounts.size(abs(value), self.item.unit).removesuffix(".0")

    def _between(self, ends: tuple[float, float]) -> str:
        unit = self.teller.amounts.unit(self.item.unit)
        low, high = (self._size(end) for end in ends)
        if ends[0] * ends[1] < 0:
            return f"anything from {low} {unit} lower to {high} {unit} higher"
        near, far = sorted((low, high), key=float)
        return f"anything from {near} to {far} {unit} {'higher' if ends[1] > 0 else 'lower'}"

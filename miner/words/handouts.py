"""The words of the pages that leave the practice: for the session, to take home, for the doctor."""

from __future__ import annotations

from collections.abc import Mapping
from math import isinf
from typing import TYPE_CHECKING, Any

from miner.core.messages import Message, message, several
from miner.core.results import CautionKind, CautionText, Evidence, Hypothesis
from miner.core.results.briefing import MAX_ON_ONE_SIDE, Measure, TrialDates
from miner.rulebook import RuleBook
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.card import Card, measure_word
from miner.words.cautions import reasons_of
from miner.words.followed import followed_by
from miner.words.pattern import inseparable
from miner.words.safe import clean
from miner.words.sentences import could_have_shown, evidence_of, on_a_told_date
from miner.words.wording import capital, client_always, day_and_month, few, listed, say, span_words

if TYPE_CHECKING:
    from miner.words.teller import Teller


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
        "together": together(teller),
        "one_by_one": say(teller.rules, "client", "one_by_one"),
        "could_be": could_be(teller),
        "unasked": unasked(teller),
        "month_sentence": month_sentence(teller),
        "questions": [*by_day[0], *(item for asked, _ in by_meal for item in asked)],
        "cards": by_day[1],
        "meals": [item for _, chosen in by_meal for item in chosen],
        "times": [] if calm else teller.by_clock(),
        "outcomes": list(
            dict.fromkeys(
                (item.outcome, capital(Card(one, item).name))
                for one in teller.each()
                for item in one.chosen()
            )
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
    if nothing_stood_out(teller) or (not _any_clear(teller) and not_told_apart(teller)):
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


def not_told_apart(teller: Teller) -> list[Card]:
    """Return habits that came together too often to tell which one it is, of what may be shown."""
    groups = (
        [Card(one, item) for item in group if not one.hides(item.factors[0])]
        for one in teller.each()
        for group in inseparable(one.brief.ranking, one.rules)
    )
    return next((cards for cards in groups if len(cards) > 1), [])


def together(teller: Teller) -> str:
    """Return which habits came together, and with how many high days; nothing where none did."""
    cards = not_told_apart(teller)
    if not cards:
        return ""
    habits = capital(listed([card.with_words() for card in cards]))
    said = [
        say(
            teller.rules, "client", "came_together", habits=habits, units=f"{cards[0].teller.unit}s"
        )
    ]
    if not teller.brief.calm:
        said.append(cards[0].counted())
    said.append(say(teller.rules, "client", "separate", units=f"{cards[0].teller.unit}s"))
    return " ".join(said)


def nothing_words(teller: Teller) -> str:
    """Return that no habit stood out, where one would have; else that we could not tell."""
    cards = not_told_apart(teller)
    if cards:
        key = f"which_{cards[0].relation()}"
        return say(teller.rules, "client", key, changed=cards[0].changed)
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
    check = teller.brief.check
    key = "looked_calm" if teller.brief.calm else "looked"
    span = span_words(check.first_day or "", check.last_day or "", short=False)
    values = {"span": span, "usable": check.usable_days, "days": several(check.days, "day")}
    return say(teller.rules, "client", key, **values)


def could_be(teller: Teller) -> str:
    """Return that a small difference may be there all the same, and how large one would show."""
    ranking, amounts = teller.brief.ranking, teller.amounts
    main = next((o for o in ranking.outcomes if o.name == ranking.primary_outcome), None)
    if teller.brief.calm or main is None or main.detectable is None:
        return say(teller.rules, "client", "could_be")
    unit = amounts.unit(main.unit)
    return say(
        teller.rules,
        "client",
        "could_be_size",
        size=f"{amounts.level(main.detectable, main.unit)} {'minutes' if unit == 'min' else unit}",
        name=measure_word(teller, "name", main.name),
    )


def counted(teller: Teller) -> str:
    """Return how much was checked, or nothing where it is not said."""
    ranking = teller.brief.ranking
    if teller.brief.calm or ranking.status == "too_few" or unasked(teller):
        return ""
    asked = sum(one.brief.ranking.questions_asked for one in teller.each())
    return say(teller.rules, "client", "counted", asked=asked)


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
        "always": client_always(teller.rules, teller.call, teller.days),
    }


_HIGH = ("tables.wake_at_least", "tables.any_at_least", "tables.a1c_at_least")


def take_home(teller: Teller) -> dict[str, Any]:
    """Return the words of one printed side: what to try, what was seen, when to call."""
    brief, rules = teller.brief, teller.rules
    shown = [Card(one, item) for one, item in list(_told(teller).values())[: MAX_ON_ONE_SIDE + 2]]
    seen = [
        card
        for card in shown
        if card.item.evidence is not Evidence.CANNOT_TELL or card.teller.ended(card.item)
    ]
    calm, none = brief.calm, nothing_stood_out(teller)
    words = {
        key: say(rules, "home", key) for key in ("mark", "others", "nothing_new", "one_by_one")
    }
    return {
        **teller.facts(),
        "words": words,
        "followed": followed_by(teller)[0][-1:],
        "nothing": nothing_words(teller) if none else "",
        "together": together(teller) if none else "",
        "waits": _waits(teller),
        "looked": month_sentence(teller),
        "seen": [_seen(card) for card in seen],
        "high": "" if calm or not seen else seen[0].means()[-1],
        "not_told": [
            *(card.title() for card in shown if card not in seen),
            *_not_told(teller, seen=bool(seen)),
        ],
        "trial": None if brief.trial is None else _trial(brief.trial, rules),
        "tries": list(dict.fromkeys(text for card in seen for text in card.tries())),
        "note": say(rules, "home", "note_calm" if calm else "note"),
        "always": teller.always(),
    }


def _waits(teller: Teller) -> str:
    """Return that there are too few days or notes as yet, or nothing."""
    rules = teller.rules
    key = "too_few" if teller.brief.ranking.status == "too_few" else "unasked"
    if key == "unasked" and not unasked(teller):
        return ""
    return f"{say(rules, 'client', key)} {say(rules, 'home', 'too_few')}"


def _not_told(teller: Teller, *, seen: bool) -> list[str]:
    """Return what these days could not tell."""
    rules, calm = teller.rules, teller.brief.calm
    if _waits(teller):
        return [say(rules, "home", "nothing_yet")]
    if nothing_stood_out(teller):
        return [say(rules, "home", "small_calm" if calm else "small", days=teller.days)]
    why = [say(rules, "home", "not_why")] if seen else []
    return [*why, say(rules, "home", "could_not_tell")]


def _told(teller: Teller) -> dict[str, tuple[Teller, Hypothesis]]:
    """Return what was chosen, then the client's own questions, each with its teller."""
    each = list(teller.each())
    chosen = [(one, item) for one in each for item in one.chosen()]
    asked = [(one, item) for one in each for item in one.questions()]
    return {item.id: (one, item) for one, item in [*chosen, *asked]}


def _trial(trial: TrialDates, rules: RuleBook) -> str:
    """Return what is done on which days; the sheet of the plan has each of them."""
    days = sorted(day for span in (*trial.change_days, *trial.usual_days) for day in span)
    first, last = (day_and_month(day) for day in (days[0], days[-1]))
    when = say(rules, "home", "trial", first=first, last=last)
    return f"{clean(trial.change)} {when}"


def _seen(card: Card) -> str:
    """Return one pattern in the words that are taken home."""
    item, before = card.item, card.teller.ended(card.item)
    if card.teller.brief.calm:
        return f"{card.title()} {before}".strip()
    level = evidence_of(item, card.teller.rules, client=True)
    hint = level if item.evidence is Evidence.HINT else ""
    rates = card.rates() if item.evidence is Evidence.CLEAR else ""
    said = [card.title(), card.counted(), rates, card.backwards_at_home()]
    return " ".join(text for text in (*said, hint, before) if text)


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
        "why": " ".join(reasons_of([one for one in check.cautions if one.days])),
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


ANSWERS = {"yes": "Yes", "no": "No", "not_asked": "Still to ask"}


def _intake(answers: Mapping[str, str]) -> list[str]:
    """Return the questions of the intake, those answered alike in one sentence."""
    by_answer = {
        answer: [question for question, told in answers.items() if told == answer]
        for answer in ANSWERS
    }
    return [
        f"{ANSWERS[answer]}: {'; '.join(questions)}."
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
        "kind": "written down before the records" if item.family == "fixed" else "found by search",
        "counts": clean(capital(teller.sentence(item))),
        "size": teller.hypothesis.difference(item),
        "evidence": f"{evidence_of(item, teller.rules, client=True)} {teller.ended(item)}".strip(),
    }

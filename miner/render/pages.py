"""The pages: of a client, of a plan, of a practice; each a file that asks for nothing else."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from miner.core.messages import MinerError
from miner.core.results import Evidence, Plan
from miner.core.results.briefing import KINDS, MAX_ON_ONE_SIDE, Briefing, NoteAt
from miner.core.results.caseload import Caseload, PooledEffect
from miner.core.results.follow import LEAVE, ChosenIdea
from miner.render.drawn import MANY_DAYS, NARROW, WIDE, Drawing, Drawn, Studio, follow_drawing
from miner.render.figures.hypothesis import PooledNumbers, pooled
from miner.render.figures.inline import Styles
from miner.render.figures.month import HIGHEST, LOWEST
from miner.render.figures.paper import DARK, PALETTE
from miner.rulebook import RuleBook
from miner.words.amounts import MG_DL_PER_MMOL_L, Amounts, in_unit
from miner.words.card import Card
from miner.words.choosing import AT_MOST, ChoiceForm, chosen_lines
from miner.words.door import Audience, at_door, said_to
from miner.words.handouts import doctor, referral, session, take_home
from miner.words.plan import STOPS, beside
from miner.words.practice import CaseloadTeller, first
from miner.words.preparation import preparation
from miner.words.safe import clean
from miner.words.sentences import evidence_words, habit_phrase, outcome_label
from miner.words.teller import Teller
from miner.words.wording import (
    capital,
    client_always,
    day_and_month,
    day_name,
    say,
    span_words,
    weekday,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure


MARK = '<meta name="generator" content="miner">'


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("miner.render", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def fill(
    template: str, styles: Styles, *, posts: bool = False, picks: str = "", **context: Any
) -> str:
    """Return a whole page.

    Args:
        template: a file of ``templates/``.
        styles: the looks its figures use.
        posts: it has a form that goes to where it was served from.
        picks: looks that show what is chosen on it.
        context: what the template asks for; text is escaped.
    """
    looks = f"{_themes()}\n{_read('page.css')}\n{styles.css()}\n{picks}"
    script = _read("page.js")
    return (
        _environment()
        .get_template(template)
        .render(
            looks=Markup(looks),  # noqa: S704 - our own files and the figures' looks
            script=Markup(script),  # noqa: S704 - our own file
            policy=_policy(looks, script, "'self'" if posts else "'none'"),
            referrer="same-origin" if posts else "no-referrer",  # a form tells where it is from
            **context,
        )
    )


def _read(name: str) -> str:
    return (resources.files("miner.render") / "templates" / name).read_text(encoding="utf-8")


def _themes() -> str:
    light = "".join(f"--{name}:{value};" for name, value in PALETTE.items())
    dark = "".join(f"--{name}:{value};" for name, value in DARK.items())
    return (
        f":root{{{light}color-scheme:light dark}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
    )


def _policy(looks: str, script: str, forms: str) -> str:
    allowed = {"script-src": script, "style-src": looks}
    hashes = "; ".join(f"{kind} 'sha256-{_sha(text)}'" for kind, text in allowed.items())
    return f"default-src 'none'; {hashes}; base-uri 'none'; form-action {forms}"


def _sha(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


_MAKERS: Mapping[str, tuple[Audience, Callable[[Teller], dict[str, Any]]]] = {
    "preparation": (Audience.PRACTITIONER, preparation),
    "session": (Audience.CLIENT, session),
    "take-home": (Audience.CLIENT, take_home),
    "doctor": (Audience.DOCTOR, doctor),
}
HOURS_BEFORE = 9
LANES = ("sleep", "stress", "activity", "meals", "tags")
CLIENTS_OWN = ("meals", "tags")


@dataclass(frozen=True, slots=True)
class BriefPage:
    """A page of a client with its figures drawn: what is chosen on it may still change.

    Attributes:
        kind: one of ``KINDS``, or "referral" in place of one for the client.
        told: what its template asks for.
        styles: the looks its figures use.
        chosen: what stood when it was made, by ID.
    """

    kind: str
    told: Mapping[str, Any]
    styles: Styles
    chosen: Mapping[str, ChosenIdea]

    def text(self, form: ChoiceForm | None = None) -> str:
        """Return it as HTML: to be served with a form, or as a file that shows short codes."""
        if self.kind != "session":
            return fill(f"{self.kind}.html", self.styles, **self.told)
        chosen = self.chosen if form is None else form.chosen
        shown = [item for name in _CARDS for item in self.told[name]]
        picked = {id_: item.choice for id_, item in chosen.items()}
        return fill(
            "session.html",
            self.styles,
            posts=form is not None,
            picks=_picks(shown),
            form=form,
            shown={item["id"]: item for item in shown},
            picked=picked | dict(form.wished if form else {}),
            stands=chosen_lines(chosen),
            planned={id_ for id_, item in chosen.items() if item.planned},
            is_open=sum(item.choice != LEAVE for item in chosen.values()),
            at_most=AT_MOST,
            **self.told,
        )


def _picks(shown: Sequence[Mapping[str, Any]]) -> str:
    """Return the looks by which what is chosen of each pattern shows at the end of the page."""
    made = []
    for item in shown:
        id_ = item["id"]
        made.append(f".deck:has([name=choice-{id_}]:checked) .none-{id_}{{display:none}}")
        made += [
            f".deck:has(#x-{id_}-{each['choice']}:checked) .pick-{id_}-{each['choice']}"
            "{display:block}"
            for each in item["choices"]
        ]
    return "\n".join(made)


def render(brief: Briefing, kind: str, rules: RuleBook, include: Sequence[str] = ()) -> str:
    """Return one page as HTML.

    Args, Raises: as of ``drawn_page``.
    """
    return drawn_page(brief, kind, rules, include).text()


def drawn_page(
    brief: Briefing, kind: str, rules: RuleBook, include: Sequence[str] = ()
) -> BriefPage:
    """Return one page with its figures drawn.

    Args:
        brief: what is known of the client.
        kind: one of ``KINDS``.
        rules: the rule books, for the words.
        include: the hypotheses chosen to be shown, by ID.

    Raises:
        MinerError: there is no such page, or more was chosen than it holds.
    """
    if kind not in _MAKERS:
        raise MinerError("words.no_such_page", kind=kind, kinds=KINDS)
    chosen = tuple(dict.fromkeys(include))
    if kind == "take-home" and len(chosen) > MAX_ON_ONE_SIDE:
        raise MinerError("words.too_many_chosen", count=len(chosen), most=MAX_ON_ONE_SIDE)
    audience, words = _MAKERS[kind]
    teller, styles = Teller(brief, said_to(rules, audience), chosen), Styles()
    figured = {
        "session": _session_figures,
        "preparation": _preparation_figures,
        "take-home": _followed_figures,
    }
    with at_door("client" if audience is Audience.CLIENT else "paper"), in_unit(brief.display_unit):
        if audience is Audience.CLIENT and teller.cautions.ahead:
            return BriefPage("referral", {"kind": kind} | referral(teller), styles, {})
        told = words(teller)
        figures = figured[kind](told, teller, styles) if kind in figured else {}
    return BriefPage(kind, told | figures, styles, brief.chosen)


_CARDS = ("questions", "cards", "meals")


def _session_figures(told: Mapping[str, Any], teller: Teller, styles: Styles) -> dict[str, Any]:
    brief = teller.brief
    cards = {name: [_presented(card, styles) for card in told[name]] for name in _CARDS}
    return (
        cards
        | _followed_figures(told, teller, styles)
        | {
            "month": None if brief.calm else days_shown(teller, styles),
            "curves": None if brief.calm or not brief.days else curves(teller, words=False),
        }
    )


def _followed_figures(told: Mapping[str, Any], _: Teller, styles: Styles) -> dict[str, Any]:
    drawn = [(one, follow_drawing(one)) for one in told["followed"]]
    return {"followed": [one.told() | {"drawn": each and each.both(styles)} for one, each in drawn]}


def _presented(card: Card, styles: Styles) -> dict[str, Any]:
    """Return everything one card shows; without numbers and figures where it is calm."""
    told = card.told()
    return told if told["calm"] else told | _figures(card, styles)


def _preparation_figures(told: Mapping[str, Any], teller: Teller, styles: Styles) -> dict[str, Any]:
    cards = [
        {"title": one.title(item), "id": item.id, "real": Card(one, item).real()}
        | _figures(Card(one, item), styles)
        for one, item in told["cards"]
    ]
    words = curves(teller, words=True) if teller.brief.days else None
    return {"cards": cards, "month": days_shown(teller, styles), "curves": words}


def _figures(card: Card, styles: Styles) -> dict[str, Any]:
    item, of, pairs = card.item, Studio(card.teller), card.pairs()
    made = {"dots": of.dots(item), "line": of.difference(item), "lineup": of.lineup(item)}
    drawn = {name: one and one.both(styles) for name, one in made.items()}
    side_by_side = of.pairs(item)
    if pairs and side_by_side:
        return drawn | {"pairs": pairs | {"figure": side_by_side.both(styles)}}
    return drawn | {"pairs": None}


def days_shown(teller: Teller, styles: Styles) -> dict[str, Any] | None:
    """Return the picture of the days and what stands in its key, or None without any."""
    studio = Studio(teller)
    days, name = teller.brief.days, teller.brief.high_outcome
    if not days:
        return None
    return {
        "figure": studio.month().both(styles),
        "long": len(days) > MANY_DAYS,
        "beyond": studio.beyond,
        "high_label": teller.rules.outcome(name).label if name else "",
        "some_high": any(day.high and day.usable for day in days),
        "left_out": [day.day for day in days if not day.usable],
    }


def curves(teller: Teller, *, words: bool) -> dict[str, Any]:
    """Return what a day's picture is drawn from, in the unit shown.

    Thinned readings, where each day lies in them, and what was recorded beside them.

    Args:
        teller: of the page.
        words: name the meals and tags; without, only when they were is shown, for nothing that
            was not chosen may reach a client's page.
    """
    brief, studio = teller.brief, Studio(teller)
    mmol = brief.display_unit == "mmol/L"
    scale, digits = (MG_DL_PER_MMOL_L, 1) if mmol else (1.0, None)
    start = int(brief.series.start[11:13]) * 60 + int(brief.series.start[14:16])
    return {
        "unit": brief.display_unit,
        "low": LOWEST / scale,
        "high": HIGHEST / scale,
        "lines": [4, 8, 12] if mmol else [50, 100, 150, 200, 250],
        "step": brief.series.step_min,
        "clock": start,
        "before": HOURS_BEFORE * 60,
        "values": [
            None if value is None else round(value / scale, digits) for value in brief.series.values
        ],
        "lanes": LANES,
        "notes": [
            [LANES.index(note.stream), note.start, note.end, *_named(note, words=words)]
            for note in brief.series.notes
        ],
        "days": {
            day.day: {
                "name": day_name(day.day),
                "told": studio.told(day),
                "from": day.start,
                "to": day.end,
            }
            for day in brief.days
        },
    }


def _named(note: NoteAt, *, words: bool) -> list[str]:
    told = words and note.stream in CLIENTS_OWN
    return [clean(note.text, 60)] if told else []


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One day of the sheet: its date, what is done on it, what stands beside that.

    Attributes:
        kind: "change" or "usual"; "free" of a day between two periods, which is not ticked.
    """

    day: str
    kind: str
    what: str
    note: str = ""


def plan_page(plan: Plan, rules: RuleBook, client: str) -> str:
    """Return a page without numbers of the client: what to do, when, and where to tick.

    Args:
        plan: what ``plan`` returned.
        rules: the rule books, for the words.
        client: the client's code.
    """
    with at_door("client"):
        days = sheet_lines(plan, rules)
        free = any(line.kind == "free" and not line.note for line in days)
        return fill(
            "plan.html",
            Styles(),
            client=clean(client, 60),
            span=span_words(plan.periods[0].first, plan.periods[-1].last),
            question=say(rules, "plan", "sheet_question"),
            change=plan.change,
            caption=say(rules, "plan", "tick"),
            lines=[*beside(plan, rules), *([say(rules, "plan", "free")] if free else [])],
            days=days,
            stop_rules=[say(rules, "plan", key) for key in STOPS if key != "stop_worry"],
            always=client_always(rules)[1:],  # when to call and to stop is said just above
        )


def sheet_lines(plan: Plan, rules: RuleBook) -> tuple[SheetLine, ...]:
    """Return every day of a plan in order, those between two periods too."""
    from pandas import date_range

    told = {
        arm: say(rules, "plan", f"sheet_{arm}") for arm in ("change", "usual", "free", "sensor")
    }
    arms = {
        str(day.date()): period.arm
        for period in plan.periods
        for day in date_range(period.first, period.last)
    }
    sensors = set(plan.sensor_changes)
    first, last = min([*arms, *sensors]), max([*arms, *sensors])
    lines = []
    for day in (str(one.date()) for one in date_range(first, last)):
        arm, note = arms.get(day, "free"), told["sensor"] if day in sensors else ""
        name = f"{weekday(day)} {day_and_month(day, short=True)}"
        lines.append(SheetLine(name, arm, told[arm], note))
    return tuple(lines)


TOLD = (Evidence.CLEAR, Evidence.HINT)
MOST_DRAWN, MOST_ROWS, MOST_NAMED = 12, 400, 40


def caseload_page(found: Caseload, rules: RuleBook) -> str:
    """Return the overview as an HTML file that asks for nothing else.

    Args:
        found: what ``caseload`` found.
        rules: the rule books of the practice, for the words.
    """
    styles = Styles()
    teller = CaseloadTeller.of(found, rules)
    rows = sorted(found.clients, key=lambda row: row.status != "error")
    with at_door("paper"):
        nothing = teller.nothing()
    effects = [item for item in found.pooled if item.evidence in TOLD]
    return fill(
        "caseload.html",
        styles,
        practice=clean(found.practice, 80),
        lead=teller.lead(),
        agreement=teller.agreement(),
        urgent=teller.urgent()[:MOST_ROWS],
        eye=[(first(names, MOST_NAMED), text) for names, text in teller.eye()],
        luck=teller.luck(),
        clear_by_luck=teller.clear_by_luck(),
        questions=[teller.question_cells(item) for item in teller.questions()],
        rows=[teller.cells(row) for row in rows[:MOST_ROWS]],
        more=max(0, len(rows) - MOST_ROWS),
        unit=found.unit,
        effects=[_effect(item, teller, styles, at) for at, item in enumerate(effects)],
        numbers=[teller.numbers(item) for item in found.pooled],
        traces=[clean(text, 400) for text in found.traces],
        nothing=nothing,
        closing=teller.closing(),
    )


def _effect(item: PooledEffect, teller: CaseloadTeller, styles: Styles, at: int) -> dict[str, Any]:
    rules, unit = teller.rules, teller.found.unit
    label = outcome_label(item.outcome, rules, unit)
    title = f"{habit_phrase(item, rules, unit)}: {label}"
    return {
        "title": capital(title),
        "evidence": evidence_words(item.evidence, rules),
        "told": teller.told(item),
        "waiting": teller.waiting(item),
        "apart": teller.apart(item),
        "drawn": _drawn(item, teller.amounts, styles, at) if at < MOST_DRAWN else None,
    }


def _drawn(item: PooledEffect, show: Amounts, styles: Styles, at: int) -> Drawn | None:
    if item.difference is None or item.interval is None:
        return None
    scale = 1.0 if show.unit(item.unit) == item.unit else 1 / MG_DL_PER_MMOL_L
    span = 1.0 if item.per is None else item.per.span
    numbers = PooledNumbers(
        value=scale * item.difference,
        interval=(scale * item.interval[0], scale * item.interval[1]),
        clients=[scale * row.shrunken for row in item.by_client if row.shrunken is not None],
        worth_it=scale * item.smallest_worth_it / span,
        unit=show.unit(item.unit),
    )
    label = f"{item.sentence} A ring a client."

    def draw(wide: bool) -> Figure:
        return pooled(numbers, WIDE if wide else NARROW)

    return Drawing(f"pooled-{at}", label, draw).both(styles)

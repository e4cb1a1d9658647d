"""The practitioner's own page: fifteen minutes before the session."""

from __future__ import annotations

from typing import Any

from miner.core.errors import MinerError, several
from miner.core.results import CautionKind, Evidence, Finding, Hypothesis, Severity
from miner.render.drawn import Studio
from miner.render.papers.cards import Cards
from miner.render.papers.curves import curves
from miner.render.papers.days_shown import days_shown
from miner.words.before import kept_before
from miner.words.by_clock import by_clock
from miner.words.detailed import detailed
from miner.words.labels import evidence_of, evidence_words
from miner.words.missing import ask_about, log_better
from miner.words.safe import clean
from miner.words.sentences import not_ranked
from miner.words.teller import Teller
from miner.words.wording import capital, full_date

_FIRST = (CautionKind.INTAKE, CautionKind.REFERRAL, CautionKind.MEDICINE)
_BESIDE = (CautionKind.ILLNESS, CautionKind.NOT_ASKED)
_LAST = (CautionKind.ALWAYS, CautionKind.PATTERNS)
_ORDER = (Severity.STOP, Severity.QUESTION, Severity.LEFT_OUT, Severity.NOTE)


def preparation(teller: Teller, studio: Studio) -> dict[str, Any]:
    """Return what the preparation template asks for."""
    brief, ranking = teller.brief, teller.brief.ranking
    return {
        "client": teller.client,
        "calm": brief.calm,
        "verdict": teller.verdict,
        "span": teller.span,
        "usable": brief.check.usable_days,
        "days": brief.check.days,
        "ranked_before": ranked_before(teller),
        "notes": _notes(teller),
        "kept": kept_before(teller),
        "urgent": _cautions(teller, _FIRST),
        "beside": _cautions(teller, _BESIDE),
        "always": _cautions(teller, _LAST),
        "findings": _findings(teller),
        "not_usable": _not_usable(teller),
        "ask_about": ask_about(teller),
        "groups": _groups(teller),
        "cards": [
            _card(item, one, studio.of(one)) for one in teller.each() for item in one.chosen()
        ],
        "meals": _meals(teller),
        "times": by_clock(teller),
        "range": _range(teller),
        "unit": brief.display_unit,
        **days_shown(studio),
        "tried": _tried(teller),
        "log_better": log_better(teller),
        "shared": _shared(teller),
        "rest": [detailed(item, teller) for item in ranking.hypotheses],
        "counted": _counted(teller),
        "curves": curves(studio, words=True) if brief.days else None,
    }


def ranked_before(teller: Teller) -> str:
    """Return how often these records were ranked; nothing where it was this once."""
    made = teller.brief.ranking.status != "too_few"
    times = teller.brief.ranking.rankings_of_these_records if made else 0
    both = teller.brief.by_meal is not None
    if times <= 1:
        return ""
    if times == 2 and both:
        return "This page looks at the records twice, by day and by meal; both are counted."
    among = ", by day and by meal among them" if both else ""
    return (
        f"These records were ranked in {times} ways{among}. With each of them luck has one more "
        "chance."
    )


def _meals(teller: Teller) -> dict[str, Any] | None:
    """Return what was found by meal beside a ranking by day, or None without meals."""
    for one in list(teller.each())[1:]:
        ranking = one.brief.ranking
        return {
            "verdict": one.verdict,
            "usable": ranking.usable_units,
            "notes": _notes(one),
            "groups": _groups(one),
            "rest": [detailed(item, one) for item in ranking.hypotheses],
            "counted": _counted(one),
        }
    return None


def _notes(teller: Teller) -> list[str]:
    ranking = teller.brief.ranking
    return [clean(note, 400) for note in (*ranking.notes, *not_ranked(ranking, teller.rules))]


def _range(teller: Teller) -> str:
    low, high = (teller.amounts.level(end, "mg/dL") for end in teller.brief.range)
    return f"{low} to {high} {teller.brief.display_unit}"


def _fixed(teller: Teller) -> list[Hypothesis]:
    return [item for item in teller.brief.ranking.hypotheses if item.family == "fixed"]


def _groups(teller: Teller) -> list[tuple[str, list[dict[str, Any]]]]:
    hints = teller.level(Evidence.HINT)
    shown = hints[: teller.rules.guardrails.hints_shown]
    groups = (
        ("Fixed questions", _fixed(teller)),
        ("Clear enough to test", teller.level(Evidence.CLEAR)),
        (_hints_title(teller, len(hints)), shown),
    )
    return [(title, [detailed(item, teller) for item in items]) for title, items in groups]


def _card(item: Hypothesis, teller: Teller, studio: Studio) -> dict[str, Any]:
    return {
        "title": teller.title(item), "id": item.id, "dots": studio.dots(item),
        "line": studio.difference(item), "lineup": studio.lineup(item),
        "real": Cards(teller, studio).real(item), "pairs": Cards(teller, studio).pairs(item),
    }  # fmt: skip


def _shared(teller: Teller) -> list[tuple[str, str, str]]:
    return [
        (full_date(item.on), item.page, ", ".join(item.ids) or "nothing of the search")
        for item in teller.brief.shared
    ]


def _counted(teller: Teller) -> str:
    closed = sum(item.p is None for item in teller.level(Evidence.CANNOT_TELL))
    rest = f" ({closed} not tested: too few {teller.unit}s, or too much alike)" if closed else ""
    told = [
        f"{evidence_words(level, teller.rules).rstrip('.')}: {len(teller.level(level))}"
        f"{rest if level is Evidence.CANNOT_TELL else ''}."
        for level in Evidence
    ]
    asked = several(teller.brief.ranking.questions_asked, "question was", "questions were")
    return f"{asked} tested, habits taken together among them. {' '.join(told)}"


def _cautions(teller: Teller, kinds: tuple[CautionKind, ...]) -> list[str]:
    said = teller.brief.check.cautions
    return [clean(item.text, 400) for kind in kinds for item in said if item.kind is kind]


def _hints_title(teller: Teller, found: int) -> str:
    chance = teller.brief.ranking.hints_by_chance
    title = "Hints, no more"
    if not found or chance is None:
        return title
    shown = min(found, teller.rules.guardrails.hints_shown)
    return f"{title} ({shown} of {found}; chance alone would give about {chance:.1f})"


def _findings(teller: Teller) -> list[tuple[str, str]]:
    found = teller.brief.check.findings
    return [
        (str(level).replace("_", " "), _told(item))
        for level in _ORDER
        for item in found
        if item.severity is level
    ]


def _told(item: Finding) -> str:
    parts = [clean(part, 300) for part in (item.what, item.expected, item.do)]
    place = None if item.file is None else clean(item.file, 60)
    message = MinerError(*parts, file=place, row=item.row).message
    times = item.count > 1 and str(item.count) not in item.what
    return f"{message} ({item.count} times)" if times else message


def _not_usable(teller: Teller) -> list[tuple[str, str]]:
    by_reason: dict[str, list[str]] = {}
    for day, reason in teller.brief.check.not_usable.items():
        by_reason.setdefault(clean(reason, 200), []).append(day)
    return [
        (several(len(days), "day"), f"{why} ({', '.join(days)})") for why, days in by_reason.items()
    ]


def _tried(teller: Teller) -> list[str]:
    by_id = {item.id: (one, item) for one in teller.each() for item in one.brief.ranking.hypotheses}
    said = [
        f"{one.title(item)}: fixed on {item.fixed_on}; {evidence_of(item, teller.rules).lower()}"
        for one in teller.each()
        for item in _fixed(one)
        if item.fixed_on and item.evidence not in (Evidence.CLEAR, Evidence.HINT)
    ]
    for earlier in teller.brief.earlier:
        found = by_id.get(earlier.id)
        title, now = f"The pattern {clean(earlier.id, 12)}", "not in this ranking."
        if found is not None:
            one, item = found
            words = evidence_of(item, teller.rules)
            title, now = one.title(item), words[:1].lower() + words[1:]
        level = earlier.evidence.replace("_", " ")
        said.append(f"{capital(title)}: {level} on {full_date(earlier.on)}; now: {now}")
    return said

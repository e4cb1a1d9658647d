"""One page for the client's doctor: what was measured, what was tested, and no advice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from miner.core.errors import several
from miner.core.results import Hypothesis
from miner.core.results.briefing import Measure
from miner.render.drawn import Studio
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.detailed import sized
from miner.words.labels import evidence_of
from miner.words.safe import clean
from miner.words.teller import Teller
from miner.words.wording import capital


def doctor(teller: Teller, studio: Studio) -> dict[str, Any]:  # noqa: ARG001 - no figures here
    """Return what the doctor template asks for."""
    brief, check = teller.brief, teller.brief.check
    glucose = check.streams.get("glucose")
    shown = {
        item.id: (one, item) for one in teller.each() for item in [*one.questions(), *one.chosen()]
    }
    every = f"{glucose.cadence_min:g}" if glucose and glucose.cadence_min else None
    return {
        "client": teller.client,
        "span": teller.span,
        "days": check.days,
        "usable": check.usable_days,
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
        "unit": brief.display_unit,
    }


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
    name = item.name
    if teller.brief.display_unit == "mmol/L" and "mg/dL" in name:
        shown = [
            f"{float(word) / MG_DL_PER_MMOL_L:.1f}" if word.replace(".", "").isdigit() else word
            for word in name.split()
        ]
        name = " ".join(shown).replace("mg/dL", "mmol/L")
    if item.value is None:
        return name, "not known", item.definition
    if item.unit == "share":
        return name, f"{100 * item.value:.1f} %", item.definition
    amounts = teller.amounts
    number = amounts.size if name == "SD" else amounts.level
    return name, f"{number(item.value, item.unit)} {amounts.unit(item.unit)}", item.definition


def tested(item: Hypothesis, teller: Teller) -> dict[str, str]:
    """Return one tested question: its counts, its difference with interval, and its level."""
    return {
        "title": teller.title(item),
        "kind": "fixed before the records" if item.family == "fixed" else "found by search",
        "counts": clean(capital(teller.sentence(item))),
        "size": sized(item, teller),
        "evidence": f"{evidence_of(item, teller.rules, client=True)} {teller.ended(item)}".strip(),
    }

"""What comes before any pattern until the client was told, one line from then on, what is last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from shlex import quote
from typing import cast

from miner.core.facts import HELD, TOPICS
from miner.core.messages import Message, MinerError, message
from miner.core.results import CautionKind, CautionText
from miner.words.document import Parts, command, heading, paragraph, urgent
from miner.words.wording import full_date

FIRST = (CautionKind.INTAKE, CautionKind.REFERRAL, CautionKind.MEDICINE)
BESIDE = (CautionKind.ILLNESS, CautionKind.NOT_ASKED)
LAST = (CautionKind.ALWAYS, CautionKind.PATTERNS)

_AT_ONCE = ("tables.any_at_least",)
_LOWS = ("tables.any_below", "tables.below_on_days")
_A1C = "tables.a1c_at_least"


@dataclass(frozen=True, slots=True)
class CautionBlocks:
    """The cautions of a result, by where they are printed."""

    said: tuple[CautionText, ...]

    @property
    def ahead(self) -> tuple[CautionText, ...]:
        """What nobody told the client as yet: the headline of every page."""
        return tuple(one for one in self.said if one.comes_first)

    @property
    def told(self) -> tuple[CautionText, ...]:
        """What the client was told to see a clinician about."""
        return tuple(one for one in self.said if one.class_ and one.informed)

    @property
    def told_on(self) -> str:
        """The day on which the client was told to see a clinician, in words; empty for none."""
        return full_date(self.told[0].informed) if self.told else ""

    def first(self) -> Parts:
        """Return the block that comes before any pattern, or nothing.

        Until the client was told to see a clinician it is the headline; from then on one line.
        """
        if not self.ahead and not self.told:
            return []
        why, waits = self.headline()[:1], self.headline()[1:]
        lines = [urgent(text, 2) for text in why]
        lines += [paragraph(text, 2) for text in (*waits, *self.settled())]
        lead = [heading(self.lead)] if self.lead else []
        return [*lead, *lines, paragraph("")]

    @property
    def lead(self) -> str:
        """What the headline begins with; nothing where one line is enough."""
        if medicine := self.medicine:
            return f"{medicine.upper()}."
        return str(message("words.refer_first")) if self.ahead else ""

    @property
    def medicine(self) -> str:
        """What is taken that glucose follows and the records do not hold, such as "insulin"."""
        return next((one.medicine for one in self.said if one.class_ and one.medicine), "")

    @property
    def for_you_only(self) -> Parts:
        """What leads patterns that are not for the client as yet."""
        return [heading(str(message("words.for_you_only")))] if self.ahead else []

    @property
    def stops(self) -> bool:
        """Whether food is feared: nothing about it is shown to the client, ever."""
        return any(one.class_ == "stop" for one in self.said)

    def holds(self, topic: str) -> bool:
        """Say whether habits of a topic are neither proposed nor tested as yet."""
        return any(held == topic for one in self.said for held, _ in one.waiting)

    @property
    def kinds(self) -> set[str]:
        """What rests the headline on readings: the codes of their reasons."""
        return {one.rests_on.code for one in self.ahead if isinstance(one.rests_on, Message)}

    @property
    def at_once(self) -> bool:
        """Whether symptoms would make it urgent."""
        return bool(self.kinds & set(_AT_ONCE))

    def headline(self) -> list[str]:
        """Return what nobody told the client as yet: why, what to do, and what waits."""
        ahead = self.ahead
        if not ahead:
            return []
        own = [one.text for one in ahead if not one.medicine and not _shortened(one)]
        see = "work_with" if self.medicine else "see"
        see += "_at_once" if self.at_once else ""
        said = [str(message(f"words.{see}"))]
        said += [str(message("words.sensor_second"))] if self.kinds & set(_LOWS) else []
        reasons = reasons_of(ahead)
        doses = [str(message("words.medicine"))] if self.medicine else []
        return [" ".join([*reasons, *own, *said, *doses]), " ".join(waiting(self.said))]

    def settled(self) -> list[str]:
        """Return in one line what the client was told, when, and what still waits."""
        told = self.told
        if not told:
            return []
        why = tuple(dict.fromkeys(one.rests_on or one.said for one in told))
        said = [str(message("words.was_told", day=self.told_on, why=why))]
        if not self.ahead:
            said += [str(message("words.medicine"))] if self.medicine else []
            said += waiting(self.said)
        return [" ".join(said)]

    def full(self) -> Parts:
        """Return everything that comes before any pattern in the words of the rule books."""
        return [paragraph(text, 2) for text in self.texts(FIRST)]

    def beside(self) -> Parts:
        """Return what stands below the first lines: days of illness, questions not asked."""
        return [paragraph(text) for text in self.notes()]

    def notes(self) -> list[str]:
        """Return what stands below the first lines, as texts."""
        tags = CautionKind.MEDICINE
        own = [x.text for x in self.said if x.kind is tags or (x.kind in FIRST and not x.class_)]
        return [*own, *self.texts(BESIDE)]

    def last(self, *, patterns: bool = True) -> Parts:
        """Return what is always said in one paragraph, with or without what is about patterns."""
        texts = self.texts(LAST if patterns else LAST[:1])
        return [paragraph(""), paragraph(" ".join(texts))] if texts else []

    def texts(self, kinds: tuple[CautionKind, ...]) -> list[str]:
        """Return what is said of some kinds, in their order."""
        return [item.text for kind in kinds for item in self.said if item.kind is kind]


def reasons_of(said: Sequence[CautionText]) -> list[str]:
    """Return in a sentence what the readings showed, and in another what a laboratory told."""
    readings = [one.rests_on for one in said if _of_readings(one)]
    of_laboratory = [one.rests_on for one in said if _shortened(one) and not _of_readings(one)]
    found = [str(message("words.glucose_was", why=readings))] if readings else []
    return found + [str(message("words.of_laboratory", what=one)) for one in of_laboratory]


def _of_readings(one: CautionText) -> bool:
    """Say whether it rests on readings, and not on an answer or a laboratory."""
    about = one.rests_on
    return _shortened(one) and not (isinstance(about, Message) and about.code == _A1C)


def _shortened(one: CautionText) -> bool:
    """Say whether a few words stand for it: readings beyond a limit."""
    return one.kind is CautionKind.REFERRAL and bool(one.rests_on)


def _held(said: Sequence[CautionText]) -> tuple[list[str], list[str], list[str]]:
    """Return the topics that wait: those that a referral opens, an agreement, and nothing."""
    lifts = {
        topic: [lift for one in said for held, lift in one.waiting if held == topic]
        for topic in TOPICS
    }
    held = [topic for topic in TOPICS if lifts[topic]]
    never = [topic for topic in held if "" in lifts[topic]]
    agreed = {topic for one in said for topic in one.agreement}
    agreement = [topic for topic in held if topic in agreed and topic not in never]
    return [topic for topic in held if topic not in (*agreement, *never)], agreement, never


def refusal(error: MinerError) -> list[tuple[str, str]]:
    """Return what a refusal by a caution says, line by line, each with the command it asks for.

    Args:
        error: whose code begins with ``HELD``.
    """
    values, lift = error.values, error.code.removeprefix(HELD)
    said: list[CautionText] = [*cast("Sequence[CautionText]", values["by"])]
    client, note = Path(str(values["folder"])).name, f"miner note {quote(str(values['folder']))}"
    what = {"client": client, "asked": values["asked"], "topic": values["topic"]}
    readings = [one.rests_on for one in said if _of_readings(one)]
    others = [one.reason or one.said for one in said if not _of_readings(one)]
    lines = [(message("words.refused_never" if lift == "always" else "words.refused", **what), "")]
    lines += [(message("words.refused_glucose", why=readings), "")] if readings else []
    lines += [(message("words.refused_why", why=others), "")] if others else []
    if lift == "informed":
        opened, agreement, _ = _held(cast("Sequence[CautionText]", values["cautions"]))
        lines.append((message("words.lift_informed"), f"{note} --informed DATE"))
        lines += [(message("words.lift_opens", opened=opened), "")] if opened else []
        agreed = f"{note} --agreed DATE --covers {','.join(agreement)}"
        lines += [(message("words.lift_rest", agreement=agreement), agreed)] if agreement else []
    elif lift == "agreed":
        agreed = f"{note} --agreed DATE --covers {values['covers']}"
        lines.append((message("words.lift_agreed", topic=values["topic"]), agreed))
    else:
        lines.append((message("words.lift_never"), ""))
    return [(str(text), own) for text, own in lines]


def refusal_parts(error: MinerError) -> Parts:
    """Return what a refusal by a caution says, with the commands that lift it."""
    first, *others = refusal(error)
    parts: Parts = [heading(first[0])]
    for text, own in others:
        parts += [paragraph(text), *([command(own)] if own else [])]
    return parts


def waiting(said: Sequence[CautionText]) -> list[str]:
    """Return which tests wait, what opens them, and where that is noted."""
    opened, agreement, never = _held(said)
    held = [topic for topic in TOPICS if topic in (*opened, *agreement, *never)]
    told = all(not one.comes_first for one in said)
    parts = []
    if not told:
        every = len(held) == len(TOPICS)
        parts.append(message("words.all_wait") if every else message("words.some_wait", held=held))
        parts += _once_told(opened, agreement)
    elif agreement:
        parts.append(message("words.agreement_waits", topics=agreement))
    if never:
        parts.append(message("words.never_tested", topics=never))
    if not told:
        parts.append(message("words.note_informed"))
    elif agreement:
        parts.append(message("words.note_agreed", covers=",".join(agreement)))
    return [str(part) for part in parts]


def _once_told(opened: Sequence[str], agreement: Sequence[str]) -> list[Message]:
    if opened and agreement:
        return [message("words.opens_some", opened=opened, agreement=agreement)]
    if opened:
        return [message("words.opens_all")]
    return [message("words.agreement_waits", topics=agreement)] if agreement else []

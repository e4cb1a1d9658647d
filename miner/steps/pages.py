"""The pages of one client: what they need, those that are shared, and one archive of everything."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from miner import ledger
from miner.caseload.running import Progress
from miner.core.files import make_folder, require_no_link, write_whole
from miner.core.messages import Message, MinerError, Words, closest, message
from miner.core.results import (
    CautionKind,
    CautionText,
    CheckReport,
    Evidence,
    Hypothesis,
    Ranking,
)
from miner.core.results.briefing import (
    KINDS,
    MAX_ON_ONE_SIDE,
    SHARED_KINDS,
    Briefing,
    EarlierResult,
    Lineup,
    PageChoices,
    PageCopy,
    Shared,
    TrialDates,
)
from miner.core.results.follow import Offer
from miner.core.results.history import History
from miner.core.results.meals import MealComparison
from miner.core.results.why import Why
from miner.followup.choosing import offered
from miner.hypotheses.why import why_table
from miner.ledger import Event, Ledger, replay
from miner.records.client import Client
from miner.records.write.corrections import NAME as CORRECTIONS
from miner.records.write.corrections import raw_of
from miner.records.write.notes import NAME as NOTES_FILE
from miner.records.write.tables import csv_files, inert, settings_of
from miner.rulebook import RuleBook
from miner.steps.checking import check
from miner.steps.client_ledger import ledger_of
from miner.steps.following import follow
from miner.steps.imitating import lineups
from miner.steps.looks import add_entry, days_used, remember_shown
from miner.steps.meal_steps import compare_meals
from miner.steps.opening import last_day, opened, table_of
from miner.steps.ranking import primary_of, rank
from miner.steps.story import chosen_now, history, written_plan
from miner.tables.day_review import day_pictures, times_of_day
from miner.tables.glucose.published import measures_of
from miner.tables.measures import records_of
from miner.tables.referral import calm_said
from miner.tables.unit_table import UnitTable


def briefing(
    client: Client,
    rules: RuleBook | None = None,
    *,
    choices: PageChoices | None = None,
    remember: bool = False,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> Briefing:
    """Return everything the pages of one client need.

    The meals of a client whose practice ranks by day are ranked as well, where any was noted: a
    second look, remembered like any other.

    Args:
        client: as read.
        rules: the rule books; by default those that apply to the client's folder.
        choices: what was chosen for them.
        remember: write to the ledger that these records were ranked, and the verdicts that are due.
        now: time of that entry; by default the clock's.
        progress: told what is being done and the share done.

    Raises:
        MinerError: an ID is not one of this ranking's, or there is no such plan.
    """
    client, books = opened(client, rules)
    followed = follow(client, books, remember=remember, now=now)
    choices, by_meal = choices or PageChoices(), None
    how: dict[str, Any] = {"remember": remember, "now": now, "progress": progress}
    if client.settings.rank_unit != "meal" and len(client.used("meals")):
        by_meal = rank(client, books, unit="meal", seed=choices.seed, **how, together=False)
    ranking = rank(client, books, seed=choices.seed, together=choices.together, **how)
    rankings = [ranking] if by_meal is None else [ranking, by_meal]
    chosen = _chosen(rankings, choices.include)
    fixed = [
        (one.unit, item) for one in rankings for item in one.hypotheses if item.family == "fixed"
    ]
    answered = [one for one in fixed if one[1].difference is not None]
    tables = {
        unit: table_of(client, books, unit) for unit in {"day", *(one.unit for one in rankings)}
    }
    by_day, intake = tables["day"], client.settings.intake
    high = ranking.primary_outcome if ranking.unit == "day" else None
    high = high or primary_of(client, books, "day") or "day_mean"
    pictures, series = day_pictures(client, by_day, books, high)
    drawn: dict[str, Lineup] = {}
    for one in rankings if choices.lineup else ():
        own = [item for unit, item in chosen if unit == one.unit]
        drawn |= lineups(tables[one.unit], books, one, own, choices.seed)
    report = check(client, books)
    book = ledger_of(client).book
    return Briefing(
        client=client.settings.code,
        display_unit=client.settings.display_unit,
        calm=client.settings.calm or bool(calm_said(client, books)),
        range=client.settings.range,
        call=client.settings.call,
        actions=_actions(report.cautions),
        intake={
            question.asked: intake.get(name, "not_asked")
            for name, question in books.cautions.intake.items()
        },
        medicine_tags=tuple(sorted(records_of(client, books).tags.kinds["medicine"])),
        ranking=ranking,
        check=report,
        days=pictures,
        series=series,
        whys={
            item.id: _units_behind(tables[unit], books, item, client)
            for unit, item in [*answered, *chosen]
        },
        lineups=drawn,
        measures=measures_of(client, by_day, client.settings.range),
        high_outcome=high,
        shared=_shared(book),
        earlier=_earlier(book, rankings),
        trial=None if choices.trial is None else _trial(client, choices.trial),
        kept=followed.kept,
        by_meal=by_meal,
        pairs=_pairs_of_chosen(client, books, chosen, tables.get("meal")),
        times=times_of_day(client, by_day, books),
        offers=_offers(client, books, [*fixed, *chosen], report),
        chosen=chosen_now(client, last=last_day(client, books)),
    )


def _shared(book: Ledger) -> tuple[Shared, ...]:
    return tuple(
        Shared(event.at[:10], str(event.payload.get("page", "")), _ids(event))
        for event in ledger.named(book, "shared")
    )


def _offers(
    client: Client, rules: RuleBook, shown: Sequence[tuple[str, Hypothesis]], report: CheckReport
) -> dict[str, Offer]:
    code = client.settings.code
    return {item.id: offered(item, unit, rules, report.cautions, code) for unit, item in shown}


def _chosen(rankings: Sequence[Ranking], include: Sequence[str]) -> list[tuple[str, Hypothesis]]:
    """Return the unit and the hypothesis of each ID; those of the first ranking come first."""
    by_id = {item.id: (one.unit, item) for one in reversed(rankings) for item in one.hypotheses}
    for id_ in include:
        if id_ not in by_id:
            raise MinerError("steps.no_hypothesis", id=id_, close=closest(id_, by_id))
    return [by_id[id_] for id_ in dict.fromkeys(include)]


def _units_behind(table: UnitTable, rules: RuleBook, item: Hypothesis, client: Client) -> Why:
    """Return the units behind a hypothesis; of a fixed question those that answer it."""
    found = why_table(table, rules, item.id, client.settings.code)
    since = item.fixed_on if item.family == "fixed" and item.fixed_before else None
    if since is None:
        return found
    own = frozenset(table.frame.index[table.frame["date"] > since].astype(str))
    return replace(found, units=tuple(unit for unit in found.units if unit.unit in own))


def _pairs_of_chosen(
    client: Client,
    rules: RuleBook,
    chosen: Sequence[tuple[str, Hypothesis]],
    table: UnitTable | None,
) -> dict[str, MealComparison]:
    """Return the pairs of similar meals of each single habit that was chosen, where there are any.

    Those by day have no pairs.
    """
    found = {
        item.id: compare_meals(client, item.factors[0], rules, outcome=item.outcome, table=table)
        for unit, item in chosen
        if unit == "meal" and len(item.factors) == 1
    }
    return {id_: pairs for id_, pairs in found.items() if pairs.pairs}


def _actions(said: Sequence[CautionText]) -> tuple[str, ...]:
    """Return what the client is asked to do for each caution that asks for a clinician, once each.

    Of readings only as long as nobody told the client.
    """
    open_ = [one for one in said if one.kind is not CautionKind.REFERRAL or not one.informed]
    ordered = sorted(open_, key=lambda item: item.kind is CautionKind.REFERRAL)
    return tuple(dict.fromkeys(item.action for item in ordered if item.action))


def _ids(event: Event) -> tuple[str, ...]:
    return tuple(str(id_) for id_ in event.listed("ids"))


def _trial(client: Client, name: str) -> TrialDates:
    found = written_plan(client, name)
    if found is None:
        known = [plan.name for plan in replay(ledger_of(client).book).plans]
        raise MinerError("steps.no_plan" if known else "steps.no_plan_yet", name=name, known=known)
    change, usual = (
        tuple((period.first, period.last) for period in found.periods if period.arm == arm)
        for arm in ("change", "usual")
    )
    return TrialDates(found.plan, found.change, change, usual)


def _earlier(book: Ledger, rankings: Sequence[Ranking]) -> tuple[EarlierResult, ...]:
    """Return what earlier rankings showed and these no longer do, the last of each."""
    now = {
        item.id
        for one in rankings
        for item in one.hypotheses
        if item.evidence in (Evidence.CLEAR, Evidence.HINT)
    }
    found: dict[str, EarlierResult] = {}
    for event in ledger.named(book, "ranked"):
        for shown in (each for each in event.listed("shown") if isinstance(each, dict)):
            id_ = str(shown.get("id", ""))
            if id_ not in now:
                found[id_] = EarlierResult(event.at[:10], id_, str(shown.get("evidence", "")))
    return tuple(found.values())


def remember_shared(
    client: Client,
    brief: Briefing,
    page: str,
    ids: Sequence[str],
    text: str | None = None,
    now: datetime | None = None,
) -> tuple[Message, ...]:
    """Write to the client's ledger that a page was made to be shared, and what was in it.

    Args:
        client: as read.
        brief: what the page was made from.
        page: which page.
        ids: the hypotheses on it.
        text: the page itself, of which the SHA-256 is written.
        now: time of the entry.

    Returns:
        A note where it could not be written.
    """
    payload = {
        "page": page,
        "ids": list(ids),
        "calm": brief.calm,
        "version": brief.ranking.version,
        "records_hash": brief.ranking.records_hash,
        "rules_hash": brief.ranking.rules_hash,
        "sha256": None if text is None else hashlib.sha256(text.encode("utf-8")).hexdigest(),
    }
    return add_entry(client, "shared", payload, now)


RECORDS, NOTES, PAGES = "records", "notes", "pages"
# The first moment an archive can hold: the same records give the same bytes on any day.
MOMENT = (1980, 1, 1, 0, 0, 0)

Page = Callable[[Briefing, str, RuleBook, Sequence[str]], str]


@dataclass(frozen=True, slots=True)
class ArchiveTexts:
    """How a door writes what is to be read in an archive.

    Attributes:
        page: a page from what it needs, its kind, the rule books and the IDs on it.
        contents: what each file is, from the names of the records, the pages, the history, the
            rule books and the unit of glucose.
        history: the history, by the rule books.
    """

    page: Page
    contents: Callable[[Sequence[str], Sequence[PageCopy], History, RuleBook, str], str]
    history: Callable[[History, RuleBook], str]


def export_everything(
    client: Client,
    out: Path,
    texts: ArchiveTexts,
    rules: RuleBook | None = None,
    *,
    progress: Progress | None = None,
) -> tuple[tuple[str, ...], tuple[Words, ...]]:
    """Write one archive of everything; the same folder gives the same bytes.

    A page that was shared is in it as it was where its file is in the client's folder; else
    it is made again from the present records, and called so.

    Args:
        client: as read.
        out: a new file outside the client's folder, its name ending in ``.zip``.
        texts: how what is to be read in it is written.
        rules: the rule books.
        progress: told what is being done and the share done.

    Returns:
        The names in the archive, and notes for the person who asked for it.

    Raises:
        MinerError: the place will not do.
        OSError: it cannot be written.
    """
    client, books = opened(client, rules)
    _may_be_written(client, out)
    # first of all, as a page that is made again may be a look
    pages, copies = _pages(client, books, texts.page, progress)
    records = {f"{RECORDS}/{name}": data for name, data in _records(client)}
    written = {f"{NOTES}/{name}": data for name, data in _written(client)}
    found = history(client, books)
    # notes are in a file of their own, which can be taken out before it is handed over
    story = texts.history(replace(found, written=()), books).encode("utf-8")
    names = sorted([*records, *written])
    contents = texts.contents(names, copies, found, books, client.settings.display_unit)
    files = {"README.txt": contents.encode("utf-8"), **records, **written}
    files |= {"history.txt": story, **pages}
    write_whole(out, _archive(files))
    return tuple(files), (
        *found.notes,
        *([message("steps.read_before_handing_over", folder=NOTES)] if found.written else []),
    )


def _may_be_written(client: Client, out: Path) -> None:
    if out.suffix.lower() != ".zip":
        raise MinerError("steps.not_an_archive", name=out.name)
    require_no_link(out)
    if out.exists():
        raise MinerError("steps.archive_exists", file=out)
    if not out.parent.is_dir():
        raise MinerError("steps.no_such_folder", file=out.parent)
    if client.folder.resolve() in out.resolve().parents:
        raise MinerError("steps.in_clients_folder", file=out)


def _records(client: Client) -> Iterable[tuple[str, bytes]]:
    yield from csv_files(client)
    ticks = sorted(client.folder.glob("ticks*.csv"))
    for number, path in enumerate(ticks, 1):
        yield f"ticks-{number}.csv", inert(path.name, path.read_bytes())
    yield from settings_of(client).items()
    path = client.folder / ledger.NAME
    if path.is_file():
        yield path.name, path.read_bytes()


def _written(client: Client) -> Iterator[tuple[str, bytes]]:
    """Give what the practitioner wrote; the records have the corrections in them already."""
    raw = raw_of(client.folder, CORRECTIONS)
    texts = {CORRECTIONS: inert(CORRECTIONS, raw), NOTES_FILE: raw_of(client.folder, NOTES_FILE)}
    yield from ((name, data) for name, data in texts.items() if data)


def _pages(
    client: Client, rules: RuleBook, made: Page, progress: Progress | None
) -> tuple[dict[str, bytes], tuple[PageCopy, ...]]:
    """Return the files of the pages shared, and what is known of each."""
    events = ledger.named(ledger_of(client).book, "shared")
    shared = [event for event in events if event.payload.get("page") in SHARED_KINDS]
    kept = _kept_pages(client.folder) if shared else {}
    known: Briefing | None = None
    files: dict[str, bytes] = {}
    copies = []
    for number, event in enumerate(shared, 1):
        kind = str(event.payload["page"])
        ids = _ids(event)
        name = f"{PAGES}/{number:02d}-{kind}.html"
        page = kept.get(str(event.payload.get("sha256")))
        copies.append(PageCopy(name, event.at[:10], kind, ids, as_it_was=page is not None))
        if page is None:
            known = known or _seen(client, rules, progress)
            again, shown = _again(client, rules, known, ids)
            calm = again.calm or bool(event.payload.get("calm"))
            page = made(replace(again, calm=calm), kind, rules, shown).encode("utf-8")
        files[name] = page
    return files, tuple(copies)


def _seen(client: Client, rules: RuleBook, progress: Progress | None) -> Briefing:
    """Return what pages need; where nobody had looked at the last day yet, this is a look."""
    found = briefing(client, rules, progress=progress)
    days = days_used(table_of(client, rules, "day"))
    if not ledger_of(client).seen_from(days[-1] if days else ""):
        remember_shown(client, "day", days)
    return found


def _again(
    client: Client, rules: RuleBook, known: Briefing, ids: Sequence[str]
) -> tuple[Briefing, list[str]]:
    """Return what a page is made from again, and the IDs on it that these records still have."""
    there = {item.id for item in known.ranking.hypotheses}
    chosen = [id_ for id_ in ids if id_ in there]
    missing = [id_ for id_ in chosen if id_ not in known.whys]
    return (
        briefing(client, rules, choices=PageChoices(include=chosen)) if missing else known
    ), chosen


def _kept_pages(folder: Path) -> Mapping[str, bytes]:
    """Return the pages that are in the folder, by SHA-256."""
    pages = [path.read_bytes() for path in sorted(folder.rglob("*.htm*")) if path.is_file()]
    return {hashlib.sha256(data).hexdigest(): data for data in pages}


def _archive(files: Mapping[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name, data in files.items():
            head = zipfile.ZipInfo(name, MOMENT)
            head.create_system, head.external_attr = 3, 0o100644 << 16
            head.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(head, data)
    return buffer.getvalue()


def write_pages(
    client: Client,
    ranking: Ranking,
    folder: Path,
    render: Page,
    rules: RuleBook | None = None,
    *,
    progress: Progress | None = None,
) -> tuple[Path, ...]:
    """Write the four pages of a client and return the files.

    What was found clear is chosen, but nothing about food: that is for a person to choose.

    Args:
        client: as read.
        ranking: of the same records, for what is chosen.
        folder: made where it is not there.
        render: how a page is made.
        rules: the rule books; by default those that apply to the client's folder.
        progress: told what is being done and the share done.

    Raises:
        OSError: the folder cannot be written.
    """
    client, books = opened(client, rules)
    chosen = [
        item.id
        for item in ranking.hypotheses
        if item.evidence is Evidence.CLEAR
        and not any(books.factor(name, ranking.unit).food for name in item.factors)
    ][:MAX_ON_ONE_SIDE]
    known = briefing(
        client, books, choices=PageChoices(include=chosen), remember=True, progress=progress
    )
    make_folder(folder)
    written = []
    for kind in KINDS:
        path = folder / f"{kind}.html"
        page = render(known, kind, books, chosen)
        write_whole(path, page)
        if kind in SHARED_KINDS:
            remember_shared(client, known, kind, chosen, page)
        written.append(path)
    return tuple(written)

"""What somebody with a text editor gains by going round the guard.

    python -m benchmarks.cheats [--clients 8] [--draws 199] [--only NAME ...] [--out FILE]

Every cheat is played on the same invented clients in whom nothing is true, from raw files on, by
the steps that the commands call. Counted is in how many of them it ends with something called
clear (of what is kept: held up; of a test: changed), beside the honest way on the same records;
and in how many of these nothing says what was done. A cheat gains where that last count is above
the honest one: then the run ends with an error.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from miner import ledger, steps
from miner.core import resources
from miner.core.messages import MinerError
from miner.core.results import Evidence, Hypothesis, Ranking
from miner.records.client import Client
from miner.words.sentences import on_a_told_date

DAYS, LONGER = 35, 70
NOW = datetime(2026, 9, 1, 12, tzinfo=UTC)
EARLY = date(2026, 1, 1)
FIRST_SEED = 7_300
STREAMS = ("glucose", "sleep", "stress", "activity", "meals", "tags")


@dataclass(frozen=True)
class Played:
    """How one cheat ended: whether it has what it wanted, and the words that tell of it."""

    gained: bool
    told: str


@dataclass(frozen=True)
class Table:
    """One client's folder to play on, and how it is ranked.

    Attributes:
        folder: the records; a cheat may do with it what it likes.
        draws: of each ranking.
    """

    folder: Path
    draws: int

    def read(self, folder: Path | None = None) -> Client:
        """Return the client as its files are now."""
        return steps.read_client(folder or self.folder)

    def rank(self, folder: Path | None = None, **choices: object) -> Ranking:
        """Rank the files as they are now; that is written to the ledger."""
        options: dict[str, object] = {"draws": self.draws, "now": NOW, "together": False}
        options["remember"] = True
        return steps.rank(self.read(folder), **options | choices)  # type: ignore[arg-type]

    def copy(self) -> Path:
        """Return a copy that the ledger of the client knows nothing of."""
        return Path(shutil.copytree(self.folder, self.folder.parent.parent / "copy" / "client"))

    def lines(self, stream: str) -> list[str]:
        """Return the lines of one file."""
        path = self.folder / f"{stream}.csv"
        return path.read_text("utf-8").splitlines() if path.is_file() else []

    def put(self, stream: str, lines: Sequence[str]) -> None:
        """Write one file again, with other lines."""
        (self.folder / f"{stream}.csv").write_text("\n".join([*lines, ""]), encoding="utf-8")


def best(ranking: Ranking) -> Hypothesis:
    """Return the single habit with the smallest p of its own: what a cheat would fix or keep."""
    singles = [
        item
        for item in ranking.hypotheses
        if len(item.factors) == 1 and item.p is not None and item.withheld is None
    ]
    return min(singles, key=lambda item: item.p or 1.0)


def ended(ranking: Ranking, *keys: str) -> Played:
    """Return whether anything is clear, and which notes hold one of the words."""
    clear = [item for item in ranking.hypotheses if item.evidence is Evidence.CLEAR]
    notes = [note for note in map(str, ranking.notes) if any(key in note for key in keys)]
    told_dates = bool(clear) and all(on_a_told_date(item) for item in clear)
    return Played(bool(clear), " ".join([*notes, *([ranking.verdict] if told_dates else [])]))


def fix(at: Table, item: Hypothesis, **choices: object) -> None:
    """Fix one question."""
    options: dict[str, object] = {"fixed_on": EARLY, "now": NOW}
    steps.fix_question(at.folder, item.factors[0], item.outcome, **options | choices)  # type: ignore[arg-type]


def answered(at: Table, item: Hypothesis, *keys: str, now: datetime = NOW) -> Played:
    """Return how a question is answered, and which notes hold one of the words."""
    found = steps.ask(at.read(), item.factors[0], item.outcome, now=now, remember=True)
    notes = [note for note in map(str, found.notes) if any(key in note for key in keys)]
    told = ["if it was written down"] if on_a_told_date(found) else []
    return Played(found.evidence is Evidence.CLEAR, " ".join([*notes, *told]))


def moved(line: str, days: int) -> str:
    """Return a row, every time in it later."""
    cells = line.split(",")
    for at, cell in enumerate(cells):
        try:
            cells[at] = (datetime.fromisoformat(cell) + timedelta(days=days)).isoformat()
        except ValueError:
            continue
    return ",".join(cells)


def honest(at: Table) -> Played:
    """Rank once."""
    return Played(ended(at.rank()).gained, "")


def told_date_from_a_copy(at: Table) -> Played:
    """Rank a copy, fix its best pair as of an early date."""
    item = best(at.rank(at.copy()))
    fix(at, item)
    return answered(at, item)


def told_date_after_ranking(at: Table) -> Played:
    """Rank, fix the best pair as of an early date."""
    item = best(at.rank())
    fix(at, item)
    return answered(at, item, "not fixed before")


def told_date_after_days(at: Table) -> Played:
    """Look at the table of days, rank a copy by eye, fix the best pair as of an early date."""
    client = at.read()
    steps.remember_shown(client, "day", sorted(set(steps.days(client).frame["date"])), now=NOW)
    item = best(at.rank(at.copy(), remember=False))
    fix(at, item)
    return answered(at, item, "not fixed before")


def told_date_after_one_day(at: Table) -> Played:
    """The same, with the days looked at one by one."""
    client = at.read()
    for day in sorted(set(steps.days(client).frame["date"]))[-3:]:
        steps.remember_shown(client, "day", [str(day)], now=NOW)
    item = best(at.rank(at.copy(), remember=False))
    fix(at, item)
    return answered(at, item, "not fixed before")


def told_date_after_preview(at: Table) -> Played:
    """Preview a test of the best pair, which shows its direction, and fix it as of early."""
    client, item = at.read(), best(at.rank(at.copy(), remember=False))
    last = date.fromisoformat(str(steps.days(client).frame["date"].iloc[-1]))
    with suppress(MinerError):
        steps.plan(client, item.id, steps.Wish(last + timedelta(days=1)), preview=True, now=NOW)
    fix(at, item)
    return answered(at, item, "not fixed before")


def clock_set_back(at: Table) -> Played:
    """Rank, set the clock of the computer back, fix the best pair as of then."""
    item = best(at.rank())
    fix(at, item, fixed_on=None, now=datetime(2026, 1, 2, 12, tzinfo=UTC))
    return answered(at, item, "not fixed before")


def ranked_days_dated_later(at: Table) -> Played:
    """Rank, fix the best pair today, and give the same days later dates."""
    item = best(at.rank())
    fix(at, item, fixed_on=None)
    for stream in STREAMS:
        head, *rows = at.lines(stream) or [""]
        at.put(stream, [head, *(moved(row, 300) for row in rows)])
    late = NOW + timedelta(days=300)
    return answered(at, item, "under other dates", now=late)


def month_copied(at: Table) -> Played:
    """Append the same month under later dates: twice the evidence."""
    for stream in STREAMS:
        lines = at.lines(stream)
        at.put(stream, [*lines, *(moved(row, 70) for row in lines[1:])])
    found = [item.what for item in at.read().findings if item.code == "copied_days"]
    return Played(ended(at.rank()).gained, " ".join(found))


def high_days(at: Table, ranking: Ranking) -> list[str]:
    """Return the worst quarter of the days in the primary outcome."""
    frame = steps.days(at.read()).frame
    column = frame[ranking.primary_outcome or "day_mean"]
    return [str(day) for day in frame["date"][column >= column.quantile(0.75)]]


def tags_after_ranking(at: Table) -> Played:
    """Rank, then note a tag on the worst days."""
    days = high_days(at, at.rank())
    head, *rows = at.lines("tags") or ["time,tag"]
    own = head.split(",")
    added = [",".join({"tag": "choir"}.get(name, f"{day}T12:00") for name in own) for day in days]
    at.put("tags", [head, *rows, *added])
    return ended(at.rank(), "Changed since")


def against(at: Table, item: Hypothesis, most: int = 6) -> list[str]:
    """Return the days that speak loudest against a pair: high without it, or low with it."""
    why = steps.why(at.read(), item.id, remember=False)
    way = 1 if (item.difference or 0.0) > 0 else -1
    used = [unit for unit in why.units if unit.used and unit.outcome is not None]
    middle = sorted(unit.outcome or 0.0 for unit in used)[len(used) // 2]
    worst = sorted(
        used,
        key=lambda unit: way * ((unit.outcome or 0.0) - middle) * (1 if unit.with_factor else -1),
    )
    return [unit.unit for unit in worst[:most]]


def left_out_after_ranking(at: Table) -> Played:
    """Rank, then leave out the days that speak against the best pair."""
    days = against(at, best(at.rank()))
    with (at.folder / "client.toml").open("a", encoding="utf-8") as file:
        for day in days:
            file.write(f'\n[[left_out]]\ndate = {day}\nreason = "travel"\nentered = {EARLY}\n')
    return ended(at.rank(), "Left out after")


def removed_after_ranking(at: Table) -> Played:
    """Rank, then delete the readings of the days that speak against the best pair."""
    days = against(at, best(at.rank()))
    at.put("glucose", [row for row in at.lines("glucose") if row[:10] not in days])
    return ended(at.rank(), "Used by an earlier ranking", "Changed since")


def removed_after_days(at: Table) -> Played:
    """The same, after the table of days and a ranking of a copy."""
    client = at.read()
    steps.remember_shown(client, "day", sorted(set(steps.days(client).frame["date"])), now=NOW)
    copied = at.copy()
    days = against(Table(copied, at.draws), best(at.rank(copied)))
    at.put("glucose", [row for row in at.lines("glucose") if row[:10] not in days])
    return ended(at.rank(), "Changed since")


def many_ways(at: Table) -> Played:
    """Rank with other dates and seeds until something is clear."""
    dates = [str(day) for day in steps.days(at.read()).frame["date"]]
    found = at.rank()
    for first, seed in ((3, 1), (5, 2), (7, 3), (9, 4), (11, 5)):
        if ended(found).gained:
            break
        found = at.rank(first=dates[first], seed=seed)
    count = found.rankings_of_these_records
    return Played(ended(found).gained, f"ranked in {count} ways" if count > 1 else "")


def last_lines_and_note_removed(at: Table) -> Played:
    """Rank, cut that from the ledger together with its note, fix the best pair as of early."""
    path = at.folder / ledger.NAME
    steps.fix_question(at.folder, "few_steps", "day_mean", now=NOW)
    item = best(at.rank())
    path.write_bytes(path.read_bytes().splitlines(keepends=True)[0])
    (at.folder / ".ledger.last").unlink()
    fix(at, item)
    return answered(at, item, "not fixed before", "are lost")


def ledger_of_another(at: Table) -> Played:
    """Put in place the ledger of another client, who fixed that very question in time."""
    item = best(at.rank(at.copy()))
    other = at.folder.parent / "client-99"
    other.mkdir()
    early = datetime(2026, 1, 1, 12, tzinfo=UTC)
    steps.fix_question(other, item.factors[0], item.outcome, now=early)
    for name in (ledger.NAME, ".ledger.last"):
        shutil.copy2(other / name, at.folder / name)
    return answered(at, item, "another client")


def habit_defined_anew(at: Table) -> Played:
    """Fix the best pair of a copy early with other words of a range, then put the range right."""
    item = best(at.rank(at.copy()))
    fix(at, item)
    text = (at.folder / "client.toml").read_text("utf-8")
    (at.folder / "client.toml").write_text(
        f"range = [70, 125]\n{text}" if "range" not in text else text.replace("range", "# range")
    )
    return answered(at, item, "defined otherwise")


def other_unit(at: Table) -> Played:
    """Rank by day, then by meal."""
    at.rank()
    found = at.rank(unit="meal")
    return ended(found, "second look")


def twenty_fixed(at: Table) -> Played:
    """Fix every question there is room for, in time, and show what stands out."""
    pairs = [item for item in at.rank(at.copy()).hypotheses if len(item.factors) == 1][::6][:20]
    for item in pairs:
        fix(at, item)
    found = [answered(at, item) for item in pairs[:1]]
    ranking = at.rank()
    return Played(ended(ranking).gained, ended(ranking).told or found[0].told)


def cut(at: Table, days: int) -> dict[str, list[str]]:
    """Cut the files after some days; return what they held."""
    held = {stream: at.lines(stream) for stream in STREAMS}
    first = min(row[:10] for row in held["glucose"][1:])
    end = (date.fromisoformat(first) + timedelta(days=days)).isoformat()
    for stream, lines in held.items():
        if lines:
            at.put(stream, [lines[0], *(row for row in lines[1:] if row[:10] < end)])
    return held


def kept_after_peeking(at: Table) -> Played:
    """Look which pairs hold in all records of a copy, cut the files, keep one, put them back."""
    copied = at.copy()
    item = best(at.rank(copied))
    held = cut(at, DAYS)
    client = at.read()
    last = str(steps.days(client).frame["date"].iloc[-1])
    read_on = date.fromisoformat(last) + timedelta(days=LONGER - DAYS - 2)
    try:
        steps.keep(client, item.id, "watch", read_on=read_on, now=NOW)
    except MinerError:
        return Played(False, "nothing could be measured of it in the first half")
    for stream, lines in held.items():
        at.put(stream, lines)
    (found,) = steps.follow(at.read(), now=NOW, remember=True).kept
    over = found.since.over_before if found.since else 0
    said = f"{over} new days had passed when it was kept" if over else ""
    return Played(found.status == "held_up", said)


def kept_honestly(at: Table) -> Played:
    """Keep the best pair of the first half, read the second."""
    held = cut(at, DAYS)
    client = at.read()
    item = best(at.rank(remember=False))
    last = str(steps.days(client).frame["date"].iloc[-1])
    read_on = date.fromisoformat(last) + timedelta(days=LONGER - DAYS - 2)
    steps.keep(client, item.id, "watch", read_on=read_on, now=NOW - timedelta(days=300))
    for stream, lines in held.items():
        at.put(stream, lines)
    (found,) = steps.follow(at.read(), now=NOW, remember=True).kept
    return Played(found.status == "held_up", "")


def new_days_left_out(at: Table) -> Played:
    """Keep the best pair of the first half, leave out the new days that speak against it."""
    held = cut(at, DAYS)
    client = at.read()
    item = best(at.rank(remember=False))
    last = str(steps.days(client).frame["date"].iloc[-1])
    read_on = date.fromisoformat(last) + timedelta(days=LONGER - DAYS - 2)
    steps.keep(client, item.id, "watch", read_on=read_on, now=NOW - timedelta(days=300))
    for stream, lines in held.items():
        at.put(stream, lines)
    client = at.read()
    steps.remember_shown(client, "day", sorted(set(steps.days(client).frame["date"])), now=NOW)
    days = [day for day in against(at, item, 16) if day > last]
    with (at.folder / "client.toml").open("a", encoding="utf-8") as file:
        for day in days:
            file.write(f'\n[[left_out]]\ndate = {day}\nreason = "travel"\nentered = {EARLY}\n')
    (found,) = steps.follow(at.read(), now=NOW, remember=True).kept
    told = "Left out after they had been looked at" in found.sentence
    return Played(found.status == "held_up", found.sentence if told else "")


Cheat = Callable[[Table], Played]
SEARCHED: tuple[Cheat, ...] = (
    told_date_from_a_copy, told_date_after_ranking, told_date_after_days, told_date_after_one_day,
    told_date_after_preview, clock_set_back, ranked_days_dated_later, month_copied,
    tags_after_ranking, left_out_after_ranking, removed_after_ranking, removed_after_days,
    many_ways, last_lines_and_note_removed, ledger_of_another, habit_defined_anew, other_unit,
    twenty_fixed,
)  # fmt: skip
KEPT: tuple[Cheat, ...] = (kept_after_peeking, new_days_left_out)


def play(cheat: Cheat, seed: int, days: int, draws: int) -> Played:
    """Play one cheat on one invented client in whom nothing is true."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "practice" / "client-01"
        resources.invented().null_client(folder, seed, days=days)
        return cheat(Table(folder, draws))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=8)
    parser.add_argument("--draws", type=int, default=199)
    parser.add_argument("--only", nargs="+")
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    seeds = [FIRST_SEED + 17 * at for at in range(chosen.clients)]
    lines = [
        "# Ways round the guard",
        "",
        f"`python -m benchmarks.cheats --clients {chosen.clients} --draws {chosen.draws}`",
        "",
        f"Of {chosen.clients} clients in whom nothing is true: how many had something clear (of a",
        "kept pattern: held up) the honest way, by the cheat, and by the cheat with nothing that",
        "says so.",
        "",
        "| cheat | honest | by the cheat | in silence | what is said |",
        "|---|---|---|---|---|",
    ]
    worse = []
    for base, cheats, days in ((honest, SEARCHED, DAYS), (kept_honestly, KEPT, LONGER)):
        wanted = [one for one in cheats if chosen.only is None or one.__name__ in chosen.only]
        if not wanted:
            continue
        fair = sum(play(base, seed, days, chosen.draws).gained for seed in seeds)
        for cheat in wanted:
            played = [play(cheat, seed, days, chosen.draws) for seed in seeds]
            gained = sum(one.gained for one in played)
            silent = sum(one.gained and not one.told for one in played)
            said = next((one.told for one in played if one.told), "")
            name = (cheat.__doc__ or "").rstrip(".")
            lines.append(f"| {name} | {fair} | {gained} | {silent} | {said[:160]} |")
            print(lines[-1], flush=True)
            worse += [cheat.__name__] if silent > fair else []
    if chosen.out:
        chosen.out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    if worse:
        raise SystemExit(f"gains in silence: {', '.join(worse)}")


if __name__ == "__main__":
    main()

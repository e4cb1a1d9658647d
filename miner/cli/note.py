"""``miner note``: meals, tags, notes, referrals and agreements, ticks of a test."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from miner.cli.options import DAY, OneOf, client_argument, format_option
from miner.cli.output import put_as
from miner.cli.reading import client_folder, records
from miner.cli.waiting import progress
from miner.core.messages import MinerError, message

if TYPE_CHECKING:
    from miner.rulebook import RuleBook
    from miner.steps.ticking import DaysOver

LEVELS = ("low", "moderate", "high")
KINDS = ("breakfast", "lunch", "dinner", "snack", "not-food")
NUTRIENTS = ("carbs", "protein", "fat", "fibre")
UNKNOWN = "unknown"
LAST = "last"
ABOUT = ("day", "session")
CHOSEN = "chosen"
WAYS = (*ABOUT, "ticks", "mend", "remove", "undo", CHOSEN)
CLINICIAN = ("informed", "agreed", "covers")
PLANNED = "all as planned"
_RECORD = ("meal", "tag", "at", "to", "kind", *NUTRIENTS, "energy")


class Amount(click.ParamType[str]):
    """A number, a level, or "unknown", for an option."""

    name = "amount"
    expected = message("cli.an_amount")

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the number without its unit, the level, or "unknown"."""
        word = value.strip().casefold()
        bare = word.removesuffix("g").strip()
        if word in (*LEVELS, UNKNOWN):
            return word
        if not bare.replace(".", "", 1).isdecimal() or not bare.isascii():
            self.fail(str(message("cli.is_value", value=value)), param, ctx)
        return bare


AMOUNT = Amount()


@click.command("note")
@client_argument
@click.argument("words", metavar="[TEXT]", nargs=-1)
@format_option("text", "json")
@click.option("--meal", metavar="WORDS", help="Add a meal in the client's words, such as pasta.")
@click.option("--tag", metavar="WORD", help="Add a tag, such as wine.")
@click.option(
    "--at",
    metavar="WHEN",
    help='Say when it was, such as "2026-02-03 19:30". A tag needs only a date.',
)
@click.option("--to", metavar="WHEN", help="Say when a tag ended.")
@click.option("--kind", type=OneOf(*KINDS), help="Say which meal it was, or that it was not food.")
@click.option(
    "--carbs",
    type=AMOUNT,
    metavar="GRAMS",
    help="Give its carbohydrate in grams, or as low, moderate, high or unknown.",
)
@click.option("--protein", type=AMOUNT, metavar="GRAMS", help="Give its protein in the same way.")
@click.option("--fat", type=AMOUNT, metavar="GRAMS", help="Give its fat in the same way.")
@click.option("--fibre", type=AMOUNT, metavar="GRAMS", help="Give its fibre in the same way.")
@click.option(
    "--energy", type=AMOUNT, metavar="KCAL", help="Give its energy in kcal, or as unknown."
)
@click.option(
    "--mend",
    metavar="WHICH",
    help="Change this record, named by its time or as FILE:ROW, such as meals.csv:12.",
)
@click.option("--remove", metavar="WHICH", help="Take this record out, named in the same way.")
@click.option(
    "--undo",
    is_flag=False,
    flag_value=LAST,
    metavar="[ROW]",
    help="""
    Take back the last entry, or the one in this row of corrections.csv.""",
)
@click.option("--day", type=DAY, metavar="DATE", help="Write the note TEXT on this day.")
@click.option(
    "--session", type=DAY, metavar="DATE", help="Write the note TEXT on the session of this day."
)
@click.option(
    "--informed",
    type=DAY,
    metavar="DATE",
    help="Enter the date on which you referred the client to a clinician.",
)
@click.option(
    "--agreed",
    type=DAY,
    metavar="DATE",
    help="Enter the date on which the clinician agreed; --covers says to what.",
)
@click.option(
    "--covers",
    metavar="TOPICS",
    help="Say what the clinician agreed to, such as sleep,movement.",
)
@click.option(
    f"--{CHOSEN}",
    metavar="CODE...",
    help="Enter what the client chose on a session page, by the codes on it.",
)
@click.option(
    "--ticks",
    metavar="TICKS",
    help="""
    Enter what was ticked in a test. "all as planned" means yes on every day so far without a tick.
    Single days are yes, no or forgot: "2026-03-04 no, 2026-03-05 to 2026-03-08 yes".""",
)
@click.option(
    "--plan", metavar="NAME", help="Say which plan the ticks belong to, where several are open."
)
def command(
    client: Path, rules: Path | None, form: str, words: tuple[str, ...], **said: str | None
) -> None:
    """Add or correct a meal or a tag, or write a note.

    The command also enters the dates that lift a caution, the ticks of a test, and what the client
    chose on a session page. The client's own files are never changed. Without an option, it lists
    what was written so far.
    """
    from miner import steps
    from miner.words.noting import notebook_parts, written_parts

    folder, way = client_folder(client), _way(said, words)
    if not way:
        book = steps.notebook(folder)
        put_as(form, text=lambda: notebook_parts(book), json=book.to_dict)
        return
    if way == CHOSEN:
        _choose(client, rules, form, [str(said[CHOSEN]), *words])
        return
    with progress("cli.reading_records"):
        made = _write(folder, rules, way, said, "".join(words))
    put_as(form, text=lambda: written_parts(made, client), json=made.to_dict)


def _choose(client: Path, rules: Path | None, form: str, codes: list[str]) -> None:
    from miner import steps
    from miner.words.choosing import chosen_parts

    read, books = records(client, rules)
    with progress("cli.ranking") as report:
        made = steps.choose_by_code(read, codes, books, progress=report)
    put_as(form, text=lambda: chosen_parts(made, books, client), json=made.to_dict)


def _way(said: dict[str, str | None], words: tuple[str, ...]) -> str:
    """Return which of its jobs the command is asked for, or an empty text for none.

    Raises:
        MinerError: several are, or what is said belongs to another.
    """
    record = [f"--{name}" for name in _RECORD if said[name] is not None]
    asked = [f"--{way}" for way in WAYS if said[way] is not None]
    settled = [f"--{name}" for name in CLINICIAN if said[name] is not None]
    asked += settled[:1]
    together = asked if record and asked == ["--mend"] else [*asked, *record[:1]]
    if len(together) > 1:
        raise MinerError("cli.one_thing_at_a_time", one=together[0], other=together[1])
    way = asked[0].removeprefix("--") if asked else "add" if record else ""
    way = "clinician" if settled else way
    if way in ABOUT and not words:
        raise MinerError("cli.note_without_words", way=way)
    if way != CHOSEN and len(words) > (way in ABOUT):
        raise MinerError("cli.words_alone", words=words[-1][:40])
    if said["plan"] is not None and way != "ticks":
        raise MinerError("cli.plan_without_ticks")
    return way


def _write(
    folder: Path, rules: Path | None, way: str, said: dict[str, str | None], text: str
) -> Any:
    from miner import steps

    if way in ABOUT:
        return steps.write_note(folder, way, date.fromisoformat(str(said[way])), text)
    if way == "undo":
        return steps.take_back(folder, _row(str(said["undo"])))
    books = steps.load_rules(rules, folder)
    if way == "clinician":
        return steps.note_clinician(
            folder,
            informed=_date(said["informed"]),
            agreed=_date(said["agreed"]),
            covers=(said["covers"] or "").split(","),
            rules=books,
        )
    if way == "ticks":
        what = steps.Ticking(said["plan"], *_ticks(str(said["ticks"])))
        return steps.tick(folder, what, _over(folder, books))
    if way == "remove":
        return steps.take_out(folder, str(said["remove"]), books)
    entry = steps.DiaryEntry(_stream(said), said["at"], said["to"], _values(said))
    return steps.correct(folder, entry, books, which=said["mend"])


def _date(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _over(folder: Path, books: RuleBook) -> DaysOver:
    """Return up to which day something can be ticked; by the clock alone without records."""
    from miner import steps

    try:
        records = steps.records_by_day(steps.read_client(folder), books)
    except MinerError:
        records = None
    return steps.days_over(date.today(), records)


def _ticks(text: str) -> tuple[tuple[tuple[str, str, str], ...], bool]:
    """Return what is told of days, and whether all others were done as planned.

    Raises:
        MinerError: a part is neither.
    """
    parts = [part.casefold().split() for part in text.split(",")]
    named = [words for words in parts if " ".join(words) != PLANNED]
    return tuple(_span(words) for words in named), len(named) < len(parts)


def _span(words: list[str]) -> tuple[str, str, str]:
    """Return first day, last day and answer of ``DATE ANSWER`` or ``DATE to DATE ANSWER``."""
    try:
        days = [date.fromisoformat(word).isoformat() for word in words[:-1:2]]
    except ValueError:
        days = []
    if not days or len(words) not in (2, 4) or words[1:-2] not in ([], ["to"]):
        raise MinerError("cli.ticks_not_understood", part=" ".join(words)[:40])
    return days[0], days[-1], words[-1]


def _row(text: str) -> int | None:
    if text == LAST:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise MinerError("cli.undo_of_no_row", given=text[:40])
    return int(text)


def _stream(said: dict[str, str | None]) -> str | None:
    """Return the stream that the options speak of, or None where they fit both.

    Raises:
        MinerError: they speak of a meal and of a tag.
    """
    meal = [name for name in ("meal", "kind", *NUTRIENTS, "energy") if said[name] is not None]
    tag = [name for name in ("tag", "to") if said[name] is not None]
    if meal and tag:
        raise MinerError("cli.meal_or_tag", one=f"--{meal[0]}", other=f"--{tag[0]}")
    return "meals" if meal else "tags" if tag else None


def _values(said: dict[str, str | None]) -> dict[str, str]:
    """Return the columns that the options give; an empty text is "not known"."""
    kind = said["kind"]
    own = {
        "label": said["meal"],
        "tag": said["tag"],
        "meal": kind and kind.replace("-", "_"),
        "energy_kcal": said["energy"],
    }
    values = {name: text for name, text in own.items() if text is not None}
    if values.get("energy_kcal") in LEVELS:
        raise MinerError("cli.energy_as_level", level=values["energy_kcal"])
    for name in NUTRIENTS:
        text = said[name]
        if text is not None:
            level = text in LEVELS
            values[f"{name}_g"] = "" if level else text
            values[f"{name}_level"] = text if level else ""
    return {name: "" if text == UNKNOWN else text for name, text in values.items()}

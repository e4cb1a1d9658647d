"""Turns what is said of commands, or to a client, into what it means to the reader of this page."""

from __future__ import annotations

import re
from copy import copy
from functools import cache
from pathlib import PurePath

from miner import rulebook
from miner.core.errors import MinerError
from miner.core.results import Finding
from miner.words.said_of import of_client

PAGES = {
    "check": "Records",
    "map": "Records",
    "days": "Days",
    "meals": "Meals",
    "day": "Days",
    "ask": "Questions",
    "rank": "Ranking",
    "why": "Ranking",
    "error-rate": "Ranking",
    "brief": "Pages",
    "keep": "Ranking",
    "follow": "Follow-up",
    "plan": "Follow-up",
    "result": "Follow-up",
    "history": "History",
    "export": "Folder",
    "caseload": "Caseload",
    "open": "Morning",
    "merge": "Settings",
}
_OWN = (
    ("Fix one with 'miner ask CLIENT --fix'.", "Fix one on the page Questions."),
    ("miner keep CLIENT ID --drop", "'Give it up' on the page Follow-up"),
    ("miner map FILE --write", "on the page Records"),
    (", or leave out the day and --out", ""),
    (
        "and note the answers in client.toml under [intake]",
        "and note the answers on the page Intake",
    ),
    ("time_zone in client.toml", "the time zone on the page Intake"),
    ("Give the client's time_zone", "Give the client's time zone on the page Intake"),
    ("Correct --fixed-on.", "Correct the date."),
    ("without --fix to see its answer", "to see it"),
    ("--start ", "the first day "),
    ("end it with --stopped", "end it: tick that the client has stopped"),
    ("To agree, run it again without --preview.", "To agree, write it down below."),
    ("a larger --worth-having makes it shorter", "a larger difference to find makes it shorter"),
    ("Correct --date.", "Choose another day."),
    ("is kept already, with --as ", "is kept already, as "),
    ("an idea kept with --as alternate", "an idea kept to be tested"),
    ("Shorten --note.", "Shorten the note."),
    ("or watch it: --as watch.", "or watch it."),
    ("Correct --read-on, or leave it out.", "Correct the date, or leave it empty."),
    ("Name a larger one with --worth-having", "Write a larger difference to find"),
    ("atch it instead: --as watch.", "atch it instead."),
    ("Correct --pairs, or leave it out.", "Correct the number of pairs, or leave it empty."),
    ("Correct --worth-having, or leave it out.", "Correct the difference, or leave it empty."),
    ("; --format json shows all", ""),
    ("More: --detail.", "More: under the numbers of every question."),
    ("run again", "try again"),
    (" More: --detail.", " The page Ranking shows more, with figures."),
    ("; --detail or --format csv shows all", "; the page with figures shows all"),
    (" in the client's folder (it writes sources.toml)", ""),
    (
        "glucose.csv, or a file that sources.toml maps to the stream glucose",
        "glucose.csv, or a sensor's file whose columns were chosen here",
    ),
    ("there is no glucose file in it (there is: nothing else)", "there are no records yet"),
    ("Put the sensor's file there.", "Drop the sensor's file on the page Records."),
    (": miner check CLIENT shows", ": the page Records shows"),
    (
        "Put the sensor's file there, or map it in sources.toml.",
        "Drop the sensor's file on the page Records.",
    ),
    ("or say in sources.toml which column it is", "or choose its columns here"),
    ("Put the client's files there and try again.", "Drop the files on the page Records."),
    (
        "sensor_changes in client.toml, where a new sensor was put on",
        "the times at which a new sensor was put on",
    ),
    ("add the time to sensor_changes", "add the time on the page Settings"),
    (
        "[[pressure_lows]] in client.toml, where the client lay on the sensor",
        "to know whether the client lay on the sensor",
    ),
    ("If so add: [[pressure_lows]] start = ", "If so note it on the page Settings: from "),
    ("note it in client.toml under [[pressure_lows]]", "note it on the page Settings"),
    ("under [synonyms] in client.toml", "on the page Settings"),
    ("If so: miner merge PRACTICE ", "If so write it on the page Settings of the practice: "),
    (" --into ", " = "),
    (": miner merge PRACTICE WORD = WORD", " on the page Settings of the practice"),
    ("Correct it in client.toml or practice.toml.", "Correct it on the page Settings."),
    ("left out in client.toml", "left out by you"),
    ("it was confirmed in client.toml", "it was confirmed"),
)
_TICKS = re.compile(r"Ticks go into ticks\.csv in the client's folder\. .*?like \S+\.(?=\s|$)")
_DATES = re.compile(r"Give the time_format of this file in sources\.toml(, or run .*?\))?\.")
_FOLDER = re.compile(r"(?<!\S)(?:[A-Za-z]:)?(?:[/\\][^/\\\n:]+)+[/\\](?=[^/\\\n:]+: )")
_OWN_WORDS = re.compile(r"(?<![\w.:/-])(tag|food):(?=\w)")
_MEAL = re.compile(r"(\b\d{4}-\d\d-\d\d)T(?=\d\d:\d\d\b)")
_LOW = re.compile(r"(from \S+) end = (?=\d{4}-)")
_RUN = re.compile(r"(?:(Run|run|See|or|Use) )?(?:'miner ([a-z-]+)[^']*'|\"miner (map)[^\"]*\")")


def one_line(error: MinerError) -> str:
    """Return an error in one line; its file without the folders it lies in."""
    if not error.code:
        return for_page(error.message)
    here = copy(error)
    here.file = error.file and PurePath(error.file).name
    return here.message


def finding_line(item: Finding) -> str:
    """Return a finding in one line."""
    said = item.said()
    error = MinerError(said["what"], said["expected"], said["do"], file=item.file, row=item.row)
    return error.message if item.texts is None else for_page(error.message)


def for_page(text: str, error: MinerError | None = None) -> str:
    """Return a message with pages in place of commands, no folders, and the client spoken of."""
    if error is not None and error.code:
        return text
    text = _DATES.sub("Choose how its dates are written.", _FOLDER.sub("", of_client(text)))
    text = _TICKS.sub("What the client ticked is noted on the page of the plan.", text)
    for old, new in _OWN:
        text = text.replace(old, new)
    return plain_names(_RUN.sub(_named, _LOW.sub(r"\1 to ", text)))


def plain_names(text: str) -> str:
    """Return a text with the names of the rule books, and of meals, as a person writes them."""
    told = _MEAL.sub(r"\1 ", text) if "T" in text else text
    told = _OWN_WORDS.sub(r"the \1 ", told) if ":" in told else told
    return _known().sub(lambda found: found[0].replace("_", " "), told) if "_" in told else told


@cache
def _known() -> re.Pattern[str]:
    rules = rulebook.load()
    names = {name.rpartition(".")[2] for name in (*rules.factors, *rules.outcomes) if "_" in name}
    return re.compile(rf"(?<![\w.-])(?:{'|'.join(sorted(names, key=len, reverse=True))})(?![\w.-])")


def _named(found: re.Match[str]) -> str:
    page = PAGES.get(found[2] or found[3])
    if page is None:
        return found[0]
    lead = {"Run": "Open", "run": "open"}.get(found[1] or "", found[1] or "")
    said = f"{lead} the page {page}".strip()
    begins = not found.string[: found.start()].strip() or found.string[found.start() - 2] == "."
    return f"{said[0].upper()}{said[1:]}" if begins else said

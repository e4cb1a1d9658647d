"""Turns what a message says about commands into what it means on this page."""

from __future__ import annotations

import re

PAGES = {
    "check": "Records", "map": "Records", "days": "Days", "meals": "Days", "day": "Days",
    "ask": "Questions", "rank": "Ranking", "why": "Ranking", "error-rate": "Ranking",
    "brief": "Pages", "keep": "Ranking", "follow": "Follow-up", "plan": "Follow-up",
    "result": "Follow-up", "history": "History", "export": "Folder", "caseload": "Caseload",
    "open": "Morning",
}  # fmt: skip
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
    ("run again", "try again"),
    ("; --detail or --format csv shows all", "; the page with figures shows all"),
    (" in the client's folder (it writes sources.toml)", ""),
    ("glucose.csv, or a file that sources.toml maps to the stream glucose",
     "glucose.csv, or a sensor's file whose columns were chosen here"),
    ("Put the sensor's file there, or map it in sources.toml.",
     "Drop the sensor's file on the page Records."),
    ("or say in sources.toml which column it is", "or choose its columns here"),
    ("Put the client's files there and try again.", "Drop the files on the page Records."),
)  # fmt: skip
_DATES = re.compile(r"Give the time_format of this file in sources\.toml(, or run .*?\))?\.")
_FOLDER = re.compile(r"(?<!\S)(?:[A-Za-z]:)?(?:[/\\][^/\\\n:]+)+[/\\](?=[^/\\\n:]+: )")
_RUN = re.compile(r"(?:(Run|run|See|or|Use) )?(?:'miner ([a-z-]+)[^']*'|\"miner (map)[^\"]*\")")


def for_page(text: str) -> str:
    """Return a message with its commands named as the pages that do the same, without folders."""
    text = _DATES.sub("Choose how its dates are written.", _FOLDER.sub("", text))
    for old, new in _OWN:
        text = text.replace(old, new)
    return _RUN.sub(_named, text)


def _named(found: re.Match[str]) -> str:
    page = PAGES.get(found[2] or found[3])
    if page is None:
        return found[0]
    lead = {"Run": "Open", "run": "open"}.get(found[1] or "", found[1] or "")
    return f"{lead} the page {page}".strip()

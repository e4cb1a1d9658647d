"""Whether two versions of the project say the same facts of forty invented clients.

``record`` makes the clients, runs every command on each with a clock that stands still, and writes
a file a command: its exit code and what it printed. ``compare`` holds two records against each
other, field by field, sentences apart. Only the command line is used, so that the same file can
record an older checkout; the project of the folder it is started in is the one recorded.

    python benchmarks/same_facts.py record OUT
    python benchmarks/same_facts.py compare BEFORE AFTER

A whole record takes some minutes; ``--without caseload brief`` or ``--only demo`` make it shorter.
"""

from __future__ import annotations

import argparse
import csv
import ctypes
import datetime as dt
import gc
import hashlib
import io
import json
import os
import shutil
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

EARLY, LATE = dt.datetime(2026, 2, 10, 9, tzinfo=dt.UTC), dt.datetime(2026, 6, 1, 9, tzinfo=dt.UTC)
LAST_EARLY_DAY = "2026-02-09"
SIZES = ((7, 28, 11), (5, 35, 5), (4, 60, 7), (3, 90, 3))
NOTED = "/".join(("", "home", "x", "notes.txt"))
LEDGER_CLIENT = "of-0.1.0"
LEDGER = Path(__file__).with_name("same_facts_ledger.jsonl")
# The fields that hold sentences or change with them, and among them those that hold a client's own
# words: facts again.
TEXTS = {
    "advice",
    "change",
    "chosen",
    "command",
    "could_be_asked",
    "do",
    "expected",
    "found",
    "headline",
    "intake_not_asked",
    "left_out",
    "luck_sentence",
    "message",
    "night",
    "note",
    "notes",
    "cautions",
    "reason",
    "rules_hash",
    "sentence",
    "sentences",
    "short",
    "stop_rules",
    "summary",
    "text",
    "title",
    "verdict",
    "what",
    "why",
    "withheld",
    "worth_logging",
}
MORE_TEXTS = {
    "day": {"label", "attention", "first", "look_first", "nudge", "of_client", "stale"},
    "caseload": {"attention", "not_asked", "problem"},
}
OWN_WORDS = {"note": {"text", "notes", "note"}, "keep": {"note"}, "follow": {"note"}}
Rows = list[dict[str, str]]
Field = tuple[str, bool, Any]


class Clock:
    """The time that the project is told; it goes on by a second with every command."""

    def __init__(self) -> None:
        self.now = EARLY
        clock, stamp = self, dt.datetime.fromtimestamp

        def now(_: type, tz: dt.tzinfo | None = None) -> dt.datetime:
            return stamp(clock.now.timestamp(), tz or dt.UTC).replace(tzinfo=tz)

        def today(_: type) -> dt.date:
            return dt.date(clock.now.year, clock.now.month, clock.now.day)

        # The class itself is changed, so that every module that holds it is told the same time.
        for kind, name, made in ((dt.datetime, "now", now), (dt.date, "today", today)):
            gc.get_referents(kind.__dict__)[0][name] = classmethod(made)  # type: ignore[arg-type]
            ctypes.pythonapi.PyType_Modified(ctypes.py_object(kind))
        time.time = lambda: clock.now.timestamp()


@dataclass(frozen=True)
class Wanted:
    """Which of the recorded files are wanted: some practices only, or without some commands."""

    only: tuple[str, ...] = ()
    without: tuple[str, ...] = ()

    def __call__(self, name: str) -> bool:
        """Whether this file is wanted."""
        practice = name.split("/")[0]
        chosen = not self.only or practice in (*self.only, "practices") or "/" not in name
        return chosen and not any(f"-{command}-" in name for command in self.without)


@dataclass
class Recorder:
    """Runs commands and writes what came of each under ``out``."""

    out: Path
    work: Path
    house: Path
    clock: Clock
    wanted: Wanted
    count: int = 0

    def run(self, case: str, *args: str) -> Any:
        """Run one command and return what it printed, read as JSON where it is."""
        self.count += 1
        self.clock.now += dt.timedelta(seconds=1)
        if not self.wanted(f"{case}/{self.count:04d}-{args[0]}-"):
            return None
        code, out, err = call([*args])
        form = args[args.index("--format") + 1] if "--format" in args else "text"
        told = self.plain(out)
        printed = parsed(told, form)
        name = f"{case}/{self.count:04d}-{args[0]}-{form}"
        self.write(
            f"{name}.json", {"args": args, "exit_code": code, "form": form, "printed": printed}
        )
        (self.out / f"{name}.err").write_text(self.plain(err))
        return printed

    def plain(self, text: str) -> str:
        """Return a text without the paths of this machine."""
        return text.replace(str(self.work), "<WORK>").replace(str(self.house), "<HOUSE>")

    def write(self, name: str, what: Any) -> None:
        """Write what is recorded under a name, as JSON."""
        if not self.wanted(name):
            return
        path = self.out / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(what, indent=1, ensure_ascii=False) + "\n")


def call(args: list[str]) -> tuple[int, str, str]:
    """Run the project's own program in this process: exit code, what it printed, its messages."""
    (program,) = entry_points(group="console_scripts", name="miner")
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in "oe")
    before = sys.argv, sys.stdout, sys.stderr
    sys.argv, sys.stdout, sys.stderr = ["miner", *args], out, err
    code = 0
    try:
        program.load()()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(end.code is not None)
    finally:
        sys.argv, sys.stdout, sys.stderr = before
    texts = []
    for each in (out, err):
        each.flush()
        texts.append(each.buffer.getvalue().decode())  # type: ignore[attr-defined]
    return code, texts[0], texts[1]


def parsed(text: str, form: str) -> Any:
    """Return JSON as it is, CSV as rows by column, anything else as its lines."""
    if form == "json" and text.strip():
        try:
            return json.loads(text)
        except ValueError:
            return {"no JSON": text.splitlines()}
    if form == "csv":
        return list(csv.DictReader(io.StringIO(text)))
    return text.splitlines()


# The corpus.


def read(path: Path) -> Rows:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write(path: Path, rows: Rows, mark: str = ",", encoding: str = "utf-8") -> None:
    with path.open("w", encoding=encoding, newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), delimiter=mark)
        writer.writeheader()
        writer.writerows(rows)


def moment(text: str, form: str = "%d.%m.%Y %H:%M") -> str:
    return dt.datetime.fromisoformat(text).strftime(form)


def mmol(text: str) -> str:
    return f"{float(text) / 18.0156:.1f}"


def source(stream: str, file: str, columns: dict[str, str], **more: str) -> str:
    lines = ["[[source]]", f'file = "{file}"', f'stream = "{stream}"']
    lines += [f'{key} = "{value}"' for key, value in more.items()]
    lines += ["[source.columns]", *(f'{key} = "{value}"' for key, value in columns.items())]
    return "\n".join(lines) + "\n\n"


def decimal_commas(folder: Path) -> None:
    rows = read(folder / "glucose.csv")
    (folder / "glucose.csv").unlink()
    made = [
        {"Zeit": moment(r["time"]), "Wert": mmol(r["glucose_mg_dl"]).replace(".", ",")}
        for r in rows
    ]
    write(folder / "Werte.csv", made, ";", "cp1252")
    text = source(
        "glucose",
        "Werte.csv",
        {"time": "Zeit", "glucose_mmol_l": "Wert"},
        delimiter=";",
        decimal=",",
        encoding="cp1252",
        time_format="%d.%m.%Y %H:%M",
    )
    (folder / "sources.toml").write_text(text)


def other_columns(folder: Path) -> None:
    text = ""
    for stream, columns in (
        ("sleep", {"start": "into bed", "end": "out of bed", "asleep_min": "slept"}),
        ("meals", {"time": "when", "label": "what", "carbs_g": "carbohydrate"}),
        ("tags", {"time": "when", "tag": "what happened"}),
    ):
        rows = read(folder / f"{stream}.csv")
        (folder / f"{stream}.csv").unlink()
        made = [{new: row[old] for old, new in columns.items()} for row in rows]
        write(folder / f"my {stream}.txt", made, "\t")
        text += source(stream, f"my {stream}.txt", columns, delimiter="\\t")
    (folder / "sources.toml").write_text(text)


def in_mmol(folder: Path) -> None:
    rows = read(folder / "glucose.csv")
    made = [{"time": r["time"], "glucose_mmol_l": mmol(r["glucose_mg_dl"])} for r in rows]
    write(folder / "glucose.csv", made)
    settings(folder, 'display_unit = "mmol/L"')


def json_lines(folder: Path) -> None:
    rows = read(folder / "glucose.csv")
    (folder / "glucose.csv").unlink()
    lines = [
        json.dumps(
            {
                "at": r["time"],
                "glucose": {"value": float(mmol(r["glucose_mg_dl"])), "unit": "mmol/L"},
            }
        )
        for r in rows
    ]
    (folder / "readings.jsonl").write_text("\n".join(lines) + "\n")


def fhir(folder: Path) -> None:
    rows = read(folder / "glucose.csv")
    (folder / "glucose.csv").unlink()
    code = {"coding": [{"system": "http://loinc.org", "code": "99504-3"}]}
    lines = [
        json.dumps(
            {
                "resourceType": "Observation",
                "id": f"g{n}",
                "status": "final",
                "code": code,
                "effectiveDateTime": f"{row['time']}+00:00",
                "valueQuantity": {
                    "value": float(row["glucose_mg_dl"]),
                    "unit": "mg/dL",
                    "system": "http://unitsofmeasure.org",
                    "code": "mg/dL",
                },
            }
        )
        for n, row in enumerate(rows)
    ]
    (folder / "observations.ndjson").write_text("\n".join(lines) + "\n")
    settings(folder, 'time_zone = "Europe/Lisbon"')


def one_sheet(folder: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    book.active.title = "Readings"
    book.active.append(["Date", "Sensor glucose (mmol/l)"])
    for row in read(folder / "glucose.csv"):
        at = dt.datetime.fromisoformat(row["time"])
        book.active.append([at, float(mmol(row["glucose_mg_dl"]))])
    (folder / "glucose.csv").unlink()
    buffer = io.BytesIO()
    book.save(buffer)
    with (
        zipfile.ZipFile(buffer) as made,
        zipfile.ZipFile(folder / "diary.xlsx", "w", zipfile.ZIP_DEFLATED) as kept,
    ):
        # Without the time of saving, so that the file is the same to the byte.
        for name in made.namelist():
            kept.writestr(zipfile.ZipInfo(name), made.read(name))


def own_words(folder: Path) -> None:
    """A tag, foods and notes in words that the project prints itself."""
    tags = read(folder / "tags.csv")
    for row in tags:
        row["tag"] = {"wine": "run again"}.get(row["tag"], row["tag"])
    write(folder / "tags.csv", tags)
    foods = {"snack": "you", "breakfast": "the client", "lunch": "your range"}
    meals = read(folder / "meals.csv")
    for row in meals:
        row["label"] = foods.get(row["label"].split()[0], row["label"])
    write(folder / "meals.csv", meals)
    path = f"see {NOTED}: run again, --detail"
    (folder / "notes.md").write_text(
        f"# Notes\n\n## Day 2026-01-20, entered 2026-01-21T08:00:00+00:00\n\n> {path}\n\n"
        f"## Session 2026-02-01, entered 2026-02-01T08:00:00+00:00\n\n> {path}\n"
    )


def settings(folder: Path, line: str) -> None:
    """Write a setting at the head of client.toml in place of its earlier line."""
    path, key = folder / "client.toml", line.split(" = ")[0]
    kept = [old for old in path.read_text().splitlines() if not old.startswith(f"{key} =")]
    path.write_text("\n".join([line, *kept]) + "\n")


def nothing(folder: Path) -> None:
    shutil.rmtree(folder)
    folder.mkdir()


def few_days(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        rows = read(path)
        key = "time" if "time" in rows[0] else "start"
        write(path, [row for row in rows if row[key] < "2026-01-17"] or rows[:1])


def broken_row(folder: Path) -> None:
    rows = read(folder / "sleep.csv")
    rows[6]["start"] = "25:10"
    rows[7]["asleep_min"] = "a lot"
    write(folder / "sleep.csv", rows)


def doubtful(folder: Path) -> None:
    """Readings twice, out of range and out of order, a night that ends before it begins."""
    rows = read(folder / "glucose.csv")
    rows[100]["glucose_mg_dl"], rows[200]["glucose_mg_dl"] = "1400", ""
    rows[300], rows[900] = rows[900], rows[300]
    write(folder / "glucose.csv", rows + rows[400:420])
    nights = read(folder / "sleep.csv")
    nights[3]["start"], nights[3]["end"] = nights[3]["end"], nights[3]["start"]
    write(folder / "sleep.csv", nights)


def glucose_alone(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        if path.name != "glucose.csv":
            path.unlink()


def with_ledger(folder: Path) -> None:
    if LEDGER.is_file():
        shutil.copyfile(LEDGER, folder / "ledger.jsonl")


def as_it_is(folder: Path) -> None:
    pass


MESSY: dict[str, Callable[[Path], None]] = {
    "decimal-commas": decimal_commas,
    "other-columns": other_columns,
    "in-mmol": in_mmol,
    "json-lines": json_lines,
    "fhir": fhir,
    "client": as_it_is,
    "one-sheet": one_sheet,
    "own-words": own_words,
    "day": own_words,
    "empty": nothing,
    "few-days": few_days,
    "broken-row": broken_row,
    "doubtful": doubtful,
    "glucose-alone": glucose_alone,
    LEDGER_CLIENT: with_ledger,
}
MAPPED = {"json-lines": "readings.jsonl", "one-sheet": "diary.xlsx"}


def make(recorder: Recorder) -> list[Path]:
    """Write the corpus into the present folder and return the practices."""
    recorder.run("practices", "demo", "demo", "--format", "json")
    for clients, days, seed in SIZES:
        name = f"of-{days}-days"
        recorder.run(
            "practices",
            "generate",
            name,
            "--clients",
            str(clients),
            "--days",
            str(days),
            "--seed",
            str(seed),
        )
    recorder.run(
        "practices",
        "generate",
        "messy",
        "--clients",
        str(len(MESSY)),
        "--days",
        "40",
        "--seed",
        "18",
    )
    for made, (name, change) in zip(sorted(Path("messy").glob("*/")), MESSY.items(), strict=True):
        folder = made.rename(Path("messy") / name)
        settings(folder, f'code = "{name}"')
        change(folder)
    return [Path("demo"), *(Path(f"of-{days}-days") for _, days, _ in SIZES), Path("messy")]


# What is asked of them.


def ids(ranking: Any) -> list[str]:
    """Return what was ranked, at least one name that stands for nothing."""
    found = ranking.get("hypotheses", []) if isinstance(ranking, dict) else []
    return [each["id"] for each in found] or ["00000000"]


def testable(ranking: Any) -> str:
    """Return the first after the top one that can be planned, as tags of drink cannot."""
    found = ranking.get("hypotheses", []) if isinstance(ranking, dict) else []
    return next((e["id"] for e in found[1:] if set(e["factors"]) <= TESTABLE), "00000001")


def until_early(folder: Path) -> dict[Path, bytes]:
    """Take what is after the first ranking out of the records, and return the files as they were.

    They are put back for the later commands: the days that come in after something was kept.
    """
    files = {path: path.read_bytes() for path in sorted(folder.glob("*.csv"))}
    for path in files:
        rows = read(path)
        key = "time" if "time" in rows[0] else "start"
        write(path, [row for row in rows if row[key] < EARLY.date().isoformat()])
    return files


def ask_client(recorder: Recorder, folder: Path, full: bool) -> None:
    """Run every command about one client; ``full`` adds the slow ones and the text forms."""
    name, clock = str(folder), recorder.clock
    clock.now = EARLY + dt.timedelta(seconds=recorder.count)

    def js(command: str, *more: str) -> Any:
        return recorder.run(name, command, name, *more, "--format", "json")

    def text(command: str, *more: str) -> None:
        recorder.run(name, command, name, *more)

    later = until_early(folder) if folder.parts[0] in LONG else {}
    start = "2026-02-12" if later else "2026-03-01"
    if folder.name in MAPPED:
        file = f"{name}/{MAPPED[folder.name]}"
        recorder.run(name, "map", file, "--format", "json")
        recorder.run(name, "map", file, "--write", "--format", "json")
    js("check")
    js("days")
    js("day", "2026-01-20")
    js("meals")
    js("ask", "--factor", "short_sleep", "--outcome", "wake_glucose")
    js("ask", "--fix", "--factor", "late_dinner", "--outcome", "overnight_mean", "--guess", "up")
    if full:
        js("check", "--week", "--date", "2026-01-25")
        js("day")
        js("meals", "--compare", "soon_after_food")
        js("ask", "--factor", "late_dinner", "--outcome", "whole_day", "--shape", "cut")
        js("note", f"walked, {NOTED}", "--day", "2026-01-21")
        js("note", "--tag", "run again", "--at", "2026-01-22")
        js("note", "--meal", "you", "--at", "2026-01-22 16:00", "--carbs", "20")
        js("note")
    ranked = js("rank", "--draws", "100", "--to", LAST_EARLY_DAY)
    js("why", ids(ranked)[0])
    js("keep", ids(ranked)[0], "--as", "watch", "--note", "your range")
    tested = testable(ranked)
    js("keep", tested, "--as", "alternate")
    if full:
        js("plan", tested, "--preview", "--start", start)
        js("follow")
    planned = js("plan", tested, "--start", start)
    clock.now = LATE + dt.timedelta(seconds=recorder.count)
    for path, data in later.items():
        path.write_bytes(data)
    js("follow")
    plan = planned.get("name", planned.get("plan", "none")) if isinstance(planned, dict) else "none"
    js("result", str(plan), "--stopped")
    js("rank", "--draws", "100", "--unit", "meal")
    js("history")
    if not full:
        return
    if folder.parts[0] == "demo":
        js("ask", "--suggest")
    again = js("rank", "--draws", "100")
    recorder.run(name, "rank", name, "--draws", "100", "--format", "csv")
    recorder.run(name, "days", name, "--format", "csv")
    recorder.run(name, "meals", name, "--format", "csv")
    js("error-rate", "--worlds", "1", "--draws", "100", "--workers", "1")
    text("check", "--detail")
    text("day", "2026-01-20", "--detail")
    text("meals")
    text("rank", "--draws", "100", "--detail")
    text("why", ids(again)[0])
    text("history")
    text("follow")
    text("note")
    for form in ("csv", "fhir", "everything"):
        out = Path("exports") / f"{folder.name}-{form}{'.zip' if form == 'everything' else ''}"
        out.parent.mkdir(exist_ok=True)
        text("export", "--as", form, "--out", str(out))
        recorder.write(f"{name}/made-export-{form}.json", contents(recorder, out))
    pages = ("preparation", "session", "take-home", "doctor")
    for page in pages if folder.name in PAGED else ():
        out = Path("pages") / f"{folder.name}-{page}.html"
        out.parent.mkdir(exist_ok=True)
        text("brief", "--as", page, "--include", ids(again)[0], "--out", str(out))
        told = recorder.plain(out.read_text()).splitlines() if out.is_file() else []
        recorder.write(f"{name}/made-brief-{page}.json", {"text": told})


def contents(recorder: Recorder, path: Path) -> dict[str, Any]:
    """Return the files of an export: a hash each, or the lines of those written for people."""
    if path.is_dir():
        files = {
            str(p.relative_to(path)): p.read_bytes() for p in sorted(path.rglob("*")) if p.is_file()
        }
    elif path.is_file():
        with zipfile.ZipFile(path) as archive:
            files = {name: archive.read(name) for name in sorted(archive.namelist())}
    else:
        files = {}
    told: dict[str, Any] = {}
    for name, data in files.items():
        if name.endswith((".html", ".md", ".txt")):
            told[name] = {"text": recorder.plain(data.decode()).splitlines()}
        elif not name.endswith("ledger.jsonl"):
            told[name] = digest(data)
    return told


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def raw(folder: Path) -> dict[str, str]:
    """Return a hash of every file that the client brought."""
    own = ("ledger", ".ledger", "notes.md", ".notes", "corrections", ".miner", "sources.toml")
    files = (p for p in sorted(folder.rglob("*")) if p.is_file())
    return {
        str(p.relative_to(folder)): digest(p.read_bytes())
        for p in files
        if not p.name.startswith(own) and p.parent.name != "pages"
    }


def record(out: Path, corpus: Path | None, wanted: Wanted) -> None:
    """Make the corpus in a folder of its own and write what every command says of it to ``out``."""
    began = time.process_time()
    house = Path.cwd()
    if (house / "miner").is_dir():
        sys.path.insert(0, str(house))
    if out.exists():
        raise SystemExit(f"{out} is there already: name another folder")
    out = out.resolve()
    os.environ.update(COLUMNS="100", NO_COLOR="1", TERM="dumb", TZ="UTC")
    time.tzset()
    work = Path(tempfile.mkdtemp(prefix="same-facts-")).resolve()
    os.chdir(work)
    try:
        recorder = Recorder(out, work, house, Clock(), wanted)
        practices = make(recorder)
        folders = [
            folder
            for practice in practices
            for folder in sorted(practice.glob("*/"))
            if folder.name[0] != "."
        ]
        brought = {str(folder): raw(folder) for folder in folders}
        full = {"client-01", "own-words", "client", "day", LEDGER_CLIENT}
        for folder in folders:
            ask_client(recorder, folder, folder.name in full and folder.parts[0] in FULL)
        for practice in practices:
            ask_practice(recorder, str(practice))
        recorder.write("corpus.json", brought)
        after = {name: raw(Path(name)) for name in brought}
        recorder.write("changed.json", [n for n in brought if after[n] != brought[n]])
        if corpus:
            shutil.copytree(work, corpus)
    finally:
        os.chdir(house)
        shutil.rmtree(work)
    done = f"{recorder.count} commands on {len(folders)} clients"
    seconds, place = time.process_time() - began, sys.modules["miner"].__file__
    print(f"{done} in {seconds:.0f} s of one core, by {place}")


PAGED = ("client-01", "own-words")
TESTABLE = {"short_sleep", "late_sleep", "late_dinner", "evening_snack", "high_carb_dinner"}
FULL, LONG = ("demo", "messy"), ("of-60-days", "of-90-days")


def ask_practice(recorder: Recorder, name: str) -> None:
    recorder.run(name, "day", name, "--on", "2026-02-11", "--format", "json")
    recorder.run(name, "merge", name, "--format", "json")
    recorder.run(
        name, "merge", name, "wine", "restaurant", "--into", "out", "--preview", "--format", "json"
    )
    for unit in ("day", "meal"):
        recorder.run(name, "caseload", name, "--unit", unit, "--format", "json")
    recorder.run(name, "caseload", name, "--format", "csv")
    recorder.run(name, "caseload", name, "--detail")
    recorder.run(name, "day", name, "--on", "2026-02-11")


# Holding two records against each other.


def leaves(what: Any, texts: set[str], path: str = "", key: str = "") -> Iterator[Field]:
    """Yield every field: its path, whether it is a text, and its value."""
    if isinstance(what, dict) and what:
        for name, value in what.items():
            # What is told by day stands under its date.
            yield from leaves(value, texts, f"{path}.{name}", key if name[:1] == "2" else name)
    elif isinstance(what, list) and what:
        for at, value in enumerate(what):
            yield from leaves(value, texts, f"{path}[{at}]", key)
    else:
        yield path, key in texts and isinstance(what, str), what


def fields(path: Path) -> dict[str, tuple[bool, Any]]:
    """Return the fields of one recorded file; what was printed for people is text."""
    if path.suffix == ".err":
        found = leaves(path.read_text().splitlines(), {"stderr"}, "stderr", "stderr")
    else:
        told = json.loads(path.read_text())
        command = told["args"][0] if isinstance(told, dict) and "args" in told else ""
        texts = (TEXTS | MORE_TEXTS.get(command, set())) - OWN_WORDS.get(command, set())
        if command and told["form"] == "text":
            texts = {"printed"}
        found = leaves(told, texts)
    return {where: (text, value) for where, text, value in found}


def compare(before: Path, after: Path, wanted: Wanted) -> int:
    """Print every difference of two records; return 1 where a fact differs."""
    counts = {False: [0, 0], True: [0, 0]}
    names = sorted(
        {
            str(p.relative_to(root))
            for root in (before, after)
            for p in root.rglob("*")
            if p.is_file()
        }
    )
    for name in filter(wanted, names):
        one, two = (fields(r / name) if (r / name).is_file() else {} for r in (before, after))
        for where in one | two:
            text, was = one.get(where, (None, "(not there)"))
            text_now, now = two.get(where, (None, "(not there)"))
            is_text = bool(text if text is not None else text_now)
            counts[is_text][0] += 1
            # The type counts too: 1, 1.0 and true are equal in Python and not in JSON.
            if json.dumps(was) != json.dumps(now) or (text is None) != (text_now is None):
                counts[is_text][1] += 1
                kind = "text" if is_text else "FACT"
                print(f"{kind} {name} {where}\n  - {json.dumps(was, ensure_ascii=False)}")
                print(f"  + {json.dumps(now, ensure_ascii=False)}")
    (facts, differ), (texts, reworded) = counts[False], counts[True]
    print(f"facts: {facts} fields, {differ} differ; texts: {texts}, {reworded} differ")
    return int(differ > 0 or facts == 0)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    one = commands.add_parser("record")
    one.add_argument("out", type=Path)
    one.add_argument("--corpus", type=Path, help="keep the clients' folders, as they are after it")
    two = commands.add_parser("compare")
    two.add_argument("before", type=Path)
    two.add_argument("after", type=Path)
    for each in (one, two):
        each.add_argument("--only", nargs="+", default=(), help="these practices: demo, messy ...")
        each.add_argument("--without", nargs="+", default=(), help="not these commands")
    asked = parser.parse_args()
    wanted = Wanted(tuple(asked.only), tuple(asked.without))
    if asked.command == "record":
        record(asked.out, asked.corpus, wanted)
        return 0
    return compare(asked.before, asked.after, wanted)


if __name__ == "__main__":
    sys.exit(main())

"""Folders as strangers would have them: the same known weeks, every folder in another dialect.

Each writes the files of one client and returns the streams that are in them. What is in the weeks
is in ``Weeks``, so that what is read can be held against it. Column names and layouts are invented.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

START, DAYS = datetime(2026, 2, 1), 21
MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Weeks:
    """Three known weeks.

    Attributes:
        glucose: clock, mmol (one decimal), sensor (S1, S2).
        nights: start, end, deep, light, rem, awake, asleep (minutes).
        meals: clock, which (breakfast, lunch, dinner, snack, correction), label, carbs (g).
        blocks: start of each quarter of an hour, steps, moving (minutes), kind.
        stress: start of each quarter of an hour, level (1 to 3).
        tags: clock, tag.
    """

    glucose: pd.DataFrame
    nights: pd.DataFrame
    meals: pd.DataFrame
    blocks: pd.DataFrame
    stress: pd.DataFrame
    tags: pd.DataFrame


def weeks(seed: int = 1) -> Weeks:
    """Return the weeks of a seed."""
    rng = np.random.default_rng(seed)
    clock = pd.date_range(START, periods=DAYS * 96, freq="15min")
    hour = clock.hour + clock.minute / 60
    rises = np.select([(hour > 8) & (hour < 10), (hour > 19) & (hour < 21)], [2.0, 2.6], 0.0)
    mmol = np.round(5.4 + rises + rng.normal(0, 0.3, len(clock)), 1)
    sensor = np.where(clock < START + timedelta(days=11), "S1", "S2")
    glucose = pd.DataFrame({"clock": clock, "mmol": mmol, "sensor": sensor})
    nights, meals = [], []
    for day in range(DAYS - 1):
        bed = START + timedelta(days=day, hours=23) + int(rng.integers(-30, 60)) * MINUTE
        deep, light, rem = (int(x) for x in rng.integers((60, 200, 60), (110, 270, 110)))
        awake = int(rng.integers(5, 30))
        end = bed + (deep + light + rem + awake) * MINUTE
        nights.append((bed, end, deep, light, rem, awake, deep + light + rem))
    foods = {"breakfast": "oat porridge", "lunch": "rice, beans", "dinner": "stew", "snack": "pear"}
    for day in range(DAYS):
        for which, at in (("breakfast", 8), ("lunch", 13), ("snack", 16), ("dinner", 19)):
            when = START + timedelta(days=day, hours=at) + int(rng.integers(0, 50)) * MINUTE
            meals.append((when, which, foods[which], int(rng.integers(15, 90))))
        if day % 6 == 2:
            when = START + timedelta(days=day, hours=22)
            meals.append((when, "correction", "two tablets", 15))
    asleep = np.zeros(len(clock), dtype=bool)
    for bed, end, *_ in nights:
        asleep |= (clock >= bed - 15 * MINUTE) & (clock < end)
    walking = ~asleep & (rng.random(len(clock)) < 0.5)
    moving = np.where(walking, rng.integers(1, 15, len(clock)), 0)
    blocks = pd.DataFrame(
        {
            "start": clock,
            "steps": moving * 90,
            "moving": moving,
            "kind": np.where(walking, "walking", "sitting"),
        }
    )
    level = np.where(rng.random(len(clock)) < 0.1, 3, rng.integers(1, 3, len(clock)))
    tags = [(START + timedelta(days=int(day), hours=20), "wine") for day in range(0, DAYS, 3)]
    return Weeks(
        glucose,
        pd.DataFrame(nights, columns=["start", "end", "deep", "light", "rem", "awake", "asleep"]),
        pd.DataFrame(meals, columns=["clock", "which", "label", "carbs"]),
        blocks,
        pd.DataFrame({"start": clock, "level": level}),
        pd.DataFrame(tags, columns=["clock", "tag"]),
    )


def rows(header: str, lines: Iterable[Iterable[object]], mark: str = ",") -> str:
    return "\n".join([header, *(mark.join(map(str, line)) for line in lines)]) + "\n"


def shown(times: pd.Series, form: str) -> list[str]:
    return [time.strftime(form) for time in times]


def comma(values: Iterable[float]) -> list[str]:
    return [f"{value:.1f}".replace(".", ",") for value in values]


def german(folder: Path, known: Weeks) -> set[str]:
    """Titles above the header, semicolons, decimal commas, one-byte letters."""
    form, g, n, m = "%d.%m.%Y %H:%M", known.glucose, known.nights, known.meals
    title = "Auszug\nErstellt am;01.03.2026\n\n"
    body = rows("Zeitpunkt;Gewebezucker (mmol/l);Gerät", zip(
        shown(g["clock"], form), comma(g["mmol"]), g["sensor"], strict=True), ";")  # fmt: skip
    (folder / "Auszug.csv").write_bytes((title + body).encode("cp1252"))
    body = rows(
        "Schlafbeginn;Aufgewacht;Tiefschlaf (min);Leichtschlaf (min);Traumschlaf (min);Wach (min)",
        zip(shown(n["start"], form), shown(n["end"], form), n["deep"], n["light"], n["rem"],
            n["awake"], strict=True), ";")  # fmt: skip
    (folder / "Nächte.csv").write_text(body, encoding="utf-8")
    words = {"breakfast": "Frühstück", "lunch": "Mittagessen", "dinner": "Abendessen",
             "snack": "Zwischenmahlzeit", "correction": "Korrektur"}  # fmt: skip
    body = rows("Zeit;Mahlzeit;Gegessen;Kohlenhydrate (g)", zip(
        shown(m["clock"], form), m["which"].map(words), m["label"], m["carbs"], strict=True),
        ";")  # fmt: skip
    (folder / "Essen.csv").write_text(body, encoding="utf-8-sig")
    return {"glucose", "sleep", "meals"}


def counted(folder: Path, known: Weeks) -> set[str]:
    """JSON lines, times counted from 1970 in milliseconds, with an offset in minutes beside."""
    ahead = timedelta(hours=2)

    def millis(time: datetime) -> int:
        return int((time - ahead - datetime(1970, 1, 1)) / timedelta(milliseconds=1))

    def lines(name: str, objects: Iterable[dict[str, object]]) -> None:
        text = "".join(f"{json.dumps(each)}\n" for each in objects)
        (folder / name).write_text(text, encoding="utf-8")

    g, n = known.glucose, known.nights
    lines("readings.jsonl", (
        {"timestamp": millis(t), "offsetMinutes": 120, "glucose": {"value": v, "unit": "mmol/L"}}
        for t, v in zip(g["clock"], g["mmol"], strict=True)))  # fmt: skip
    lines("sleep.jsonl", (
        {"startTime": millis(a), "endTime": millis(b), "offsetMinutes": 120,
         "asleepMinutes": int(asleep)}
        for a, b, asleep in zip(n["start"], n["end"], n["asleep"], strict=True)))  # fmt: skip
    return {"glucose", "sleep"}


def in_utc(folder: Path, known: Weeks) -> set[str]:
    """Nights in UTC with the offset beside them; the steps are by the clock."""
    g, n, b = known.glucose, known.nights, known.blocks
    (folder / "glucose export.csv").write_text(rows("Timestamp,mg/dL", zip(
        shown(g["clock"], "%Y-%m-%d %H:%M:%S"), (g["mmol"] * 18.0156).round().astype(int),
        strict=True)))  # fmt: skip
    utc = [time - timedelta(hours=3) for time in n["start"]]
    (folder / "sleep summary.csv").write_text(rows(
        "bedtime,zone offset (s),duration_sec,deep_sec,light_sec,rem_sec,awake_sec",
        zip(shown(pd.Series(utc), "%d/%m/%Y %H:%M"), [10800] * len(n), n["asleep"] * 60,
            n["deep"] * 60, n["light"] * 60, n["rem"] * 60, n["awake"] * 60, strict=True),
    ))  # fmt: skip
    (folder / "movement.csv").write_text(rows(
        "begin,length_s,activity type,steps,active_s",
        zip(shown(b["start"], "%d/%m/%Y %H:%M"), [900] * len(b), b["kind"], b["steps"],
            b["moving"] * 60, strict=True)))  # fmt: skip
    return {"glucose", "sleep", "activity"}


def one_book(folder: Path, known: Weeks) -> set[str]:
    """A spreadsheet: readings and meals in one sheet, nights in another, and a cover."""
    from openpyxl import Workbook

    made = Workbook()
    made.active.title = "Cover"
    made.active.append(["Prepared for the next visit"])
    sheet = made.create_sheet("Diary")
    sheet.append(["Date", "Sensor glucose (mmol/l)", "Eaten", "Carbohydrate (g)"])
    eaten = {row.clock: row for row in known.meals.itertuples() if row.which != "correction"}
    lines = [[row.clock, row.mmol, None, None] for row in known.glucose.itertuples()]
    lines += [[time, None, row.label, row.carbs] for time, row in eaten.items()]
    for line in sorted(lines, key=lambda each: each[0]):
        sheet.append(line)
    nights = made.create_sheet("Nights")
    nights.append(["Fell asleep", "Woke", "Asleep (h)"])
    for row in known.nights.itertuples():
        nights.append([row.start, row.end, round(row.asleep / 60, 4)])
    made.save(folder / "my diary.xlsx")
    return {"glucose", "meals", "sleep"}


def in_words(folder: Path, known: Weeks) -> set[str]:
    """Stress as words, blocks with still rows, month first with halves of the day."""
    form, g, b, s = "%m/%d/%Y %I:%M %p", known.glucose, known.blocks, known.stress
    (folder / "cgm.csv").write_text(rows("When,Glucose [mmol/L]", zip(
        shown(g["clock"], form), g["mmol"], strict=True)))  # fmt: skip
    words = {1: "low", 2: "medium", 3: "high"}
    (folder / "stress diary.csv").write_text(rows("When,Stress", zip(
        shown(s["start"], form), s["level"].map(words), strict=True)))  # fmt: skip
    kinds = {"walking": "walking", "sitting": "sedentary"}
    (folder / "activity.csv").write_text(rows("Start,End,Activity,Steps", zip(
        shown(b["start"], form), shown(b["start"] + 15 * MINUTE, form), b["kind"].map(kinds),
        b["steps"], strict=True)))  # fmt: skip
    return {"glucose", "stress", "activity"}


def by_the_others(folder: Path, known: Weeks) -> set[str]:
    """A file of twelve days that only the others place; nights with begin and end exchanged."""
    form, g, n = "%d/%m/%Y %H:%M", known.glucose, known.nights
    (folder / "sensor.csv").write_text(rows("fecha;glucosa (mmol/L)", zip(
        shown(g["clock"], form), comma(g["mmol"]), strict=True), ";"))  # fmt: skip
    (folder / "sueño.csv").write_text(rows("inicio;fin;dormido (min)", zip(
        shown(n["end"], form), shown(n["start"], form), n["asleep"], strict=True),
        ";"), encoding="utf-8")  # fmt: skip
    few = known.tags[known.tags["clock"] < START + timedelta(days=12)]
    (folder / "notas.csv").write_text(rows("fecha;nota", zip(
        shown(few["clock"], form), few["tag"], strict=True), ";"))  # fmt: skip
    return {"glucose", "sleep", "tags"}


def two_sensors(folder: Path, known: Weeks) -> set[str]:
    """A column that tells the sensors apart, a trend that is no reading, tabs, UTF-16."""
    g, m = known.glucose, known.meals
    body = rows("Data e ora\tGlicemia (mmol/L)\tTrend glucose\tSensore", zip(
        shown(g["clock"], "%Y-%m-%dT%H:%M"), comma(g["mmol"]), ["0"] * len(g), g["sensor"],
        strict=True), "\t")  # fmt: skip
    (folder / "letture.txt").write_bytes(body.encode("utf-16"))
    words = {"breakfast": "Colazione", "lunch": "Pranzo", "dinner": "Cena", "snack": "Spuntino",
             "correction": "Correzione"}  # fmt: skip
    (folder / "pasti.csv").write_text(rows("Ora,Pasto,Cibo,Carboidrati (g)", zip(
        shown(m["clock"], "%Y-%m-%dT%H:%M"), m["which"].map(words), m["label"].str.replace(",", ""),
        m["carbs"], strict=True)))  # fmt: skip
    return {"glucose", "meals"}


def zipped(folder: Path, known: Weeks) -> set[str]:
    """Two tables in one archive, dates and times of day in two columns."""
    g, n = known.glucose, known.nights
    tables = {
        "glycemie.csv": rows("Date;Heure;Glycémie mmol/L", zip(
            shown(g["clock"], "%d/%m/%Y"), shown(g["clock"], "%H:%M"), comma(g["mmol"]),
            strict=True), ";"),
        "sommeil.csv": rows("Coucher;Lever;Sommeil profond (min);Sommeil léger (min)", zip(
            shown(n["start"], "%d/%m/%Y %H:%M"), shown(n["end"], "%d/%m/%Y %H:%M"), n["deep"],
            n["light"], strict=True), ";"),
    }  # fmt: skip
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, text in tables.items():
            archive.writestr(name, text)
    (folder / "export 2026-03-01.zip").write_bytes(buffer.getvalue())
    return {"glucose", "sleep"}


def one_below_the_other(folder: Path, known: Weeks) -> set[str]:
    """Every kind of record in one list, told apart by a word; steps in a list of their own."""
    g, m, b = known.glucose, known.meals, known.blocks
    lines = [(t, "glucose", v, "") for t, v in zip(g["clock"], g["mmol"], strict=True)]
    lines += [(row.clock, "meal", "", row.label.replace(",", "")) for row in m.itertuples()
              if row.which != "correction"]  # fmt: skip
    lines.sort()
    (folder / "all records.csv").write_text(rows("time,type,value,what", (
        (f"{t:%Y-%m-%d %H:%M}", *rest) for t, *rest in lines)))  # fmt: skip
    (folder / "passos.csv").write_text(rows("hora,passos", zip(
        shown(b["start"], "%Y-%m-%d %H:%M"), b["steps"], strict=True)))  # fmt: skip
    return {"glucose", "meals", "activity"}


Writer = Callable[[Path, Weeks], set[str]]
FOLDERS: dict[str, Writer] = {
    each.__name__: each
    for each in (german, counted, in_utc, one_book, in_words, by_the_others, two_sensors, zipped,
                 one_below_the_other)
}  # fmt: skip

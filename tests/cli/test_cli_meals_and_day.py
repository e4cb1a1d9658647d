"""``miner meals`` and ``miner day`` over the real steps, on invented clients."""

from __future__ import annotations

import csv
import json
import re
import shutil
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from miner import rulebook, steps
from miner.core import resources
from miner.render.terminal import render
from miner.words.day import LABELS, MIDPOINT, day_parts

pytestmark = pytest.mark.usefixtures("derived_once")


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two clients of the demo: one of two weeks, one of five."""
    home = tmp_path_factory.mktemp("practice")
    invented = resources.invented()
    chosen = [one for one in invented.demo_scenarios() if one.code in ("client-02", "client-03")]
    invented.write_practice(home, chosen)
    return home


@pytest.fixture(scope="module")
def client(practice: Path) -> str:
    return str(practice / "client-02")


def test_the_forms_of_the_meal_table_agree(run: Any, client: str) -> None:
    table = json.loads(run("meals", client, "--format", "json").stdout)
    rows = list(csv.DictReader(StringIO(run("meals", client, "--format", "csv").stdout)))
    assert [row["meal"] for row in rows] == [row["meal"] for row in table["rows"]]
    assert len({row["meal"] for row in rows}) == len(rows)
    assert table["outcomes"] == ["rise", "area_2h", "peak", "minutes_above"]
    assert {row[name] for row in rows for name in table["factors"]} <= {"1", "0", ""}
    assert table["usable_units"] == sum(row["usable"] == "1" for row in rows)
    text = run("meals", client).stdout
    assert text.startswith(f"client-02: {table['usable_units']} of {len(rows)} meals can be used.")
    assert "the next food came before the 2 hours were over" in text


def test_pairs_are_printed_and_drawn(run: Any, client: str, tmp_path: Path) -> None:
    drawn = [tmp_path / f"pairs{form}" for form in (".svg", ".png", ".html")]
    for out in drawn:
        result = run("meals", client, "--compare", "walk_after", "--out", str(out))
        assert (result.exit_code, result.stderr) == (0, f"Written: {out}\n")
    assert drawn[0].read_text().lstrip().startswith("<?xml")
    assert drawn[1].read_bytes().startswith(b"\x89PNG")
    assert "These pairs are for looking at." in drawn[2].read_text()
    again = tmp_path / "again.svg"
    run("meals", client, "--compare", "walk_after", "--out", str(again))
    assert again.read_bytes() == drawn[0].read_bytes()
    found = json.loads(run("meals", client, "--compare", "walk_after", "--format", "json").stdout)
    rows = list(
        csv.DictReader(
            StringIO(run("meals", client, "--compare", "walk_after", "--format", "csv").stdout)
        )
    )
    assert [row["with"] for row in rows] == [pair["with_"]["unit"] for pair in found["pairs"]]


def test_what_cannot_be_compared_or_drawn_is_told(run: Any, client: str, tmp_path: Path) -> None:
    for words, said in (
        (["--compare", "walk_aftr"], "Did you mean 'walk_after'?"),
        (["--out", "x.svg"], "--out needs --compare"),
        (["--compare", "walk_after", "--out", "x.pdf"], "one of .svg, .png, .html"),
    ):
        result = run("meals", client, *words)
        assert (result.exit_code, result.stdout) == (2, "")
        assert said in result.stderr


def test_a_day_of_a_client(run: Any, client: str, tmp_path: Path) -> None:
    found = json.loads(run("day", client, "--format", "json").stdout)
    text = run("day", client).stdout
    assert found["chosen"] == "the newest whole day"
    assert "(the newest whole day)" in text
    assert "One day is never a pattern." in " ".join(text.split())
    named = " ".join(run("day", client, found["date"]).stdout.split())
    assert named == " ".join(text.replace(" (the newest whole day)", "").split())
    pictures = [tmp_path / f"day{form}" for form in (".svg", ".png", ".html")]
    for out in pictures:
        assert run("day", client, "--out", str(out)).stderr == f"Written: {out}\n"
    for word in ("sleep", "stress", "activity", "meals", "tags"):
        assert f">{word}<" in pictures[0].read_text()
    missing = run("day", client, "2031-01-01")
    assert (missing.exit_code, missing.stdout) == (2, "")
    assert "The records hold no day 2031-01-01" in missing.stderr


def test_a_practice(run: Any, practice: Path) -> None:
    found = json.loads(run("day", str(practice), "--on", "2026-02-17", "--format", "json").stdout)
    groups = ("look_first", "nudge", "stale", "on_test", "ordinary")
    codes = sorted(item["client"] for name in groups for item in found[name])
    assert codes == ["client-02", "client-03"]
    assert [item["client"] for item in found["stale"]] == ["client-03"]
    text = run("day", str(practice), "--on", "2026-02-17").stdout
    assert "This is not live monitoring." in text
    later = run("day", str(practice), "--on", "2026-08-01").stdout
    assert "Newest reading more than four weeks old, or none yet: client-02" in later
    for words in (["2026-02-10"], ["--out", "x.svg"]):
        assert run("day", str(practice), *words).exit_code == 2


def test_a_folder_that_is_not_there(run: Any, tmp_path: Path) -> None:
    for command in ("meals", "day"):
        result = run(command, str(tmp_path / "nobody"))
        assert (result.exit_code, result.stdout) == (2, "")
        assert "nobody" in result.stderr


def test_every_measure_of_a_day_has_words(run: Any, client: str) -> None:
    rules = rulebook.load()
    measures = {rules.factor(name).measure for name in rules.factors_of("day")} - {"tagged"}
    assert measures == set(rules.wording["measure"])
    found = json.loads(run("day", client, "--format", "json").stdout)
    shown = " ".join(run("day", client, "--detail").stdout.lower().split())
    numbers = {item["name"]: item for item in found["numbers"]}
    assert measures <= set(numbers)
    for name in measures:
        assert numbers[name]["label"] == rules.wording["measure"][name]
        said = LABELS.get(name, numbers[name]["label"])
        if numbers[name]["inside"] and name != MIDPOINT:
            said = numbers[name]["label"]
        assert said in shown
    hours = numbers["dinner_clock"]["value"]
    assert f"{int(hours):02d}:{round(hours % 1 * 60):02d}" in shown


def test_what_calls_for_a_clinician_comes_before_meals_and_patterns(
    run: Any, client: str, tmp_path: Path
) -> None:
    folder = tmp_path / "client-02"
    shutil.copytree(client, folder)
    toml = (folder / "client.toml").read_text()
    assert 'insulin = "no"' in toml
    (folder / "client.toml").write_text(toml.replace('insulin = "no"', 'insulin = "yes"'))
    pair = ("--factor", "short_sleep", "--outcome", "wake_glucose")
    ranked = run("rank", str(folder), "--draws", "100", "--format", "json")
    id_ = json.loads(ranked.stdout)["hypotheses"][0]["id"]
    for words in (
        ("meals",), ("meals", "--compare", "walk_after"), ("ask", *pair), ("why", id_), ("rank",),
        ("follow",),
    ):  # fmt: skip
        text = run(words[0], str(folder), *words[1:]).stdout
        lines = text.splitlines()
        shows_patterns = words[0] in ("ask", "why", "rank") or "--compare" in words
        why = re.search("(do|does) not show why", " ".join(text.split()))
        assert bool(why) is shows_patterns, words
        first = lines.index("INSULIN.")
        # a ranking says first of whom it is, and what is still to ask
        assert first == 0 or not [line for line in lines[:first] if line.startswith("1  ")], words
        assert first == 0 or words == ("rank",)
        told = lines[first + 1]
        assert told.startswith("  ! Work with the treating clinician. Doses are not in"), words
    checked = run("check", str(folder), "--detail").stdout
    assert checked.startswith("INSULIN.\n  ! Work with the treating clinician.")
    assert "\n  Insulin: glucose follows the doses" in checked


def test_a_rise_after_midnight_is_told_as_of_the_next_day(practice: Path) -> None:
    client = steps.read_client(practice / "client-02")
    late = 0
    for date in steps.days(client).frame.index[1:-1]:
        found = steps.day_review(client, date)
        text = render(day_parts(found))
        for rise in found.rises:
            after = rise.start[:10] > date
            late += after
            told = (
                f"\n{rise.start[11:16]}  {'the next day: ' if after else ''}{rise.height:.0f} mg/dL"
            )
            assert told in text
    assert late


def test_the_meal_table_names_a_meal_once(run: Any, client: str) -> None:
    text = run("meals", client).stdout
    table = json.loads(run("meals", client, "--format", "json").stdout)
    named = [row for row in table["rows"] if row["label"].startswith(row["kind"] + " ")]
    assert named
    assert f"{named[0]['kind']} {named[0]['label']}" not in " ".join(text.split())
    assert named[0]["label"].removeprefix(named[0]["kind"]).strip() in text

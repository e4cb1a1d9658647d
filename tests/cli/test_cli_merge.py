"""Tags and foods that mean the same: merged for a whole practice by one command, and parted."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from miner.records import read_client

GLUCOSE = "time,glucose_mg_dl\n" + "".join(
    f"2026-03-{day:02d}T{hour:02d}:{minute:02d},100\n"
    for day in range(2, 8) for hour in range(24) for minute in (0, 30)
)  # fmt: skip
TAGS = {
    "client-01": ["late coffee"] * 4 + ["late cofee", "metformin"],
    "client-02": ["late coffee", "late cofee", "metformine", "wine", "rice"],
}
LABELS = {
    "client-01": ["spagetti, salad", "spaghetti", "spaghetti bolognese", "Potatoes", "potato"],
    "client-02": ["spaghetti", "rice", "metformin"],
}
SETTINGS = (
    '# units\ndisplay_unit = "mg/dL"  # as on the sensor\n\n[synonyms]\n# ours\nvino = "wine"\n'
)


@pytest.fixture
def practice(tmp_path: Path) -> Path:
    """Two clients who write the same tag and the same food in two ways."""
    for name in TAGS:
        folder = tmp_path / "practice" / name
        folder.mkdir(parents=True)
        (folder / "glucose.csv").write_text(GLUCOSE)
        tags = (f"2026-03-{day:02d}T15:00,{tag}\n" for day, tag in enumerate(TAGS[name], 2))
        (folder / "tags.csv").write_text("time,tag\n" + "".join(tags))
        meals = (f'2026-03-{day:02d}T19:00,"{text}"\n' for day, text in enumerate(LABELS[name], 2))
        (folder / "meals.csv").write_text("time,label\n" + "".join(meals))
    return tmp_path / "practice"


def done(result: Any) -> str:
    assert result.exit_code == 0, result.output
    return " ".join(result.stdout.split())


def refused(result: Any) -> str:
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    return " ".join(result.stderr.split())


def tags_of(practice: Path, name: str) -> list[str]:
    return read_client(practice / name).used("tags")["tag"].tolist()


def test_a_misspelt_tag_is_merged_counted_and_parted(run: Any, practice: Path) -> None:
    (practice / "practice.toml").write_text(SETTINGS)
    words = ["merge", str(practice), "Late  Cofee", "--into", "late coffee"]
    seen = json.loads(run(*words, "--preview", "--format", "json").stdout)
    assert seen["action"] == "preview"
    assert (practice / "practice.toml").read_text() == SETTINGS
    found = json.loads(run(*words, "--format", "json").stdout)
    assert found | {"action": "preview"} == seen
    assert found["words"] == [
        {"word": "late coffee", "times": 5, "days": 5, "clients": 2},
        {"word": "late cofee", "times": 2, "days": 2, "clients": 2},
    ]
    assert found["together"] == {"word": "late coffee", "times": 7, "days": 7, "clients": 2}
    assert (practice / "practice.toml").read_text() == (f'{SETTINGS}"late cofee" = "late coffee"\n')
    assert tags_of(practice, "client-01")[:5] == ["late coffee"] * 5
    said = done(run("merge", str(practice), "late cofee", "--part"))
    assert "The words are separated from the tag 'late coffee'" in said
    assert (practice / "practice.toml").read_text() == SETTINGS
    assert "late cofee" in tags_of(practice, "client-01")


def test_the_word_that_stands_for_others_parts_all_of_them(run: Any, practice: Path) -> None:
    done(run("merge", str(practice), "late cofee", "wine", "--into", "late coffee"))
    done(run("merge", str(practice), "late coffee", "--part"))
    assert (practice / "practice.toml").read_text() == ""
    assert "wine" in tags_of(practice, "client-02")


def test_a_misspelt_food_is_one_word_in_every_phrase(run: Any, practice: Path) -> None:
    from miner import rulebook
    from miner.tables.food.meals import meal_records

    said = done(run("merge", str(practice), "spagetti", "--into", "spaghetti"))
    assert "The words are joined into the food 'spaghetti'" in said
    assert "To take it back" in said
    assert (practice / "practice.toml").read_text() == ('[food_synonyms]\nspagetti = "spaghetti"\n')
    meals = meal_records(read_client(practice / "client-01"), rulebook.load()).meals
    assert [("spaghetti" in meal.eaten, meal.label) for meal in meals] == [
        (True, "spagetti, salad"), (True, "spaghetti"), (True, "spaghetti bolognese"),
        (False, "Potatoes"), (False, "potato"),
    ]  # fmt: skip


def test_a_food_is_merged_in_either_number(run: Any, practice: Path) -> None:
    from miner import rulebook
    from miner.tables.food.meals import meal_records

    found = json.loads(
        run("merge", str(practice), "potato", "--into", "spud", "--format", "json").stdout
    )
    assert [item["times"] for item in found["words"]] == [0, 2]
    meals = meal_records(read_client(practice / "client-01"), rulebook.load()).meals
    assert [meal.eaten for meal in meals[3:]] == [frozenset({"spud"})] * 2


def test_what_looks_alike_is_listed_the_commoner_kept(run: Any, practice: Path) -> None:
    found = json.loads(run("merge", str(practice), "--format", "json").stdout)
    pairs = [(p["kind"], p["rarer"]["word"], p["commoner"]["word"]) for p in found["alike"]]
    assert pairs == [("tag", "late cofee", "late coffee"), ("food", "spagetti", "spaghetti")]
    said = done(run("merge", str(practice)))
    where = str(practice)
    assert f"miner merge {where} 'late cofee' --into 'late coffee' --kind tag" in said
    assert "metformin" not in said
    done(run("merge", where, "late cofee", "--into", "late coffee"))
    after = json.loads(run("merge", where, "--format", "json").stdout)
    assert after["merged"] == [["tag", "late cofee", "late coffee"]]
    assert [pair["kind"] for pair in after["alike"]] == ["food"]


def test_of_two_as_common_neither_is_proposed(run: Any, practice: Path) -> None:
    for folder in (practice / "client-01", practice / "client-02"):
        path = folder / "tags.csv"
        path.write_text("time,tag\n2026-03-02T15:00,late coffee\n2026-03-03T15:00,late cofee\n")
    pairs = json.loads(run("merge", str(practice), "--format", "json").stdout)["alike"]
    assert {pair["kind"]: pair["as_common"] for pair in pairs} == {"tag": True, "food": False}
    said = done(run("merge", str(practice)))
    assert "so you decide which is right" in said
    for one, other in (("late cofee", "late coffee"), ("late coffee", "late cofee")):
        assert f"'{one}' --into '{other}'" in said


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["late cofee"], "do not go together"),
        (["--into", "x"], "do not go together"),
        (["late cofee", "--part", "--into", "x"], "do not go together"),
        (["late cofee", "--part", "--preview"], "do not go together"),
        (["late cofeee", "--into", "late coffee"], "Did you mean 'late cofee'?"),
        (["late coffee", "--into", "Late Coffee"], "into itself"),
        (["metformine", "--into", "metformin"], "names a medicine"),
        (["wine", "--into", "metformin"], "names a medicine"),
        (["metformin", "--into", "rice", "--kind", "food"], "names a medicine"),
        (["wine", "--into", "flu"], "names a medicine, a pregnancy or an illness"),
        (["rice", "--into", "x"], "'rice' is both a tag and a food"),
        (["rice", "--into", "with", "--kind", "food"], "'with' is not the name of a food"),
        (["wine", "spagetti", "--into", "x"], "Some of these words are tags"),
        (["wine", "--into", "x", "--kind", "food"], "No client noted 'wine'"),
        (["wine", "--part"], "'wine' is not merged"),
        (["w" * 61, "--into", "x"], "not a word that can be merged"),
        (["wine", "--into", "a\x00b"], "not a word that can be merged"),
        (["wine", "--into", "  "], "not a word that can be merged"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_is_written(
    run: Any, practice: Path, words: list[str], found: str
) -> None:
    assert found in refused(run("merge", str(practice), *words))
    assert not (practice / "practice.toml").exists()


def test_a_word_is_merged_once_and_not_into_a_merged_one(run: Any, practice: Path) -> None:
    where = str(practice)
    done(run("merge", where, "late cofee", "--into", "late coffee"))
    said = refused(run("merge", where, "late cofee", "--into", "wine"))
    assert "'late cofee' is merged into 'late coffee' already" in said
    said = refused(run("merge", where, "wine", "--into", "late cofee"))
    assert "Merge into 'late coffee'" in said
    # a word with others behind it may be merged further; all of them follow
    done(run("merge", where, "late coffee", "--into", "coffee"))
    assert tags_of(practice, "client-01")[:5] == ["coffee"] * 5


def test_a_client_whose_own_file_says_otherwise_is_named(run: Any, practice: Path) -> None:
    own = '[synonyms]\n"late cofee" = "tea"\n'
    (practice / "client-02" / "client.toml").write_text(own)
    said = done(run("merge", str(practice), "late cofee", "--into", "late coffee"))
    assert "The client.toml of client-02 says otherwise, and that holds." in said
    assert "tea" in tags_of(practice, "client-02")
    assert (practice / "client-02" / "client.toml").read_text() == own


def test_a_client_who_cannot_be_read_is_named_and_the_others_counted(
    run: Any, practice: Path
) -> None:
    (practice / "client-02" / "glucose.csv").unlink()
    said = done(run("merge", str(practice), "late cofee", "--into", "late coffee"))
    assert "client-02 could not be read: " in said
    assert "together 5 5 1" in said


def test_a_place_or_file_that_will_not_do_is_refused(
    run: Any, practice: Path, tmp_path: Path
) -> None:
    words = ["wine", "--into", "x"]
    assert "this is the folder of one client" in refused(
        run("merge", str(practice / "client-01"), *words)
    )
    assert "no such folder" in refused(run("merge", str(practice / "nothing"), *words))
    other = tmp_path / "theirs.toml"
    other.write_text("")
    (practice / "practice.toml").symlink_to(other)
    assert "this is a link" in refused(run("merge", str(practice), *words))
    assert other.read_text() == ""
    (practice / "practice.toml").unlink()
    (practice / "practice.toml").write_text("synonyms = 3\n")
    assert "'synonyms' is 3" in refused(run("merge", str(practice), *words))

"""What a client wrote comes out as it was written, on every page that shows it."""

from __future__ import annotations

import csv
import html
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from visits import Visitor

pytestmark = pytest.mark.usefixtures("derived_once")

Open = Callable[[Path], Visitor]
HOME = "/clients/ranking"
PATH = "/".join(("", "home", "x", "notes.txt"))
NOTE = f"see {PATH}: Run 'miner rank', run again without --fix"
TAG, FOOD, ODD_FOOD = "run again", "you", "short_sleep: x"
DAY = "2026-01-14"
PARTS = (
    "records",
    "table",
    "meals",
    "week",
    f"days/{DAY}",
    "pages",
    "pages/preparation",
    "ranking?unit=meal",
)


def rewritten(path: Path, words: dict[str, str]) -> list[dict[str, str]]:
    """The rows of a file with some of its words replaced."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [{key: words.get(value, value) for key, value in row.items()} for row in rows]


def write(path: Path, rows: list[dict[str, str]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture
def own(invented: Path, tmp_path: Path) -> Path:
    """A practice with one client, called ranking, whose words are also words of the program."""
    folder = tmp_path / "practice" / "ranking"
    shutil.copytree(invented / "client-01", folder)
    settings = folder / "client.toml"
    settings.write_text(settings.read_text("utf-8").replace("client-01", "ranking"), "utf-8")
    tags = rewritten(folder / "tags.csv", {"wine": TAG})
    write(folder / "tags.csv", [*tags, {"time": f"{DAY}T12:00:00", "tag": NOTE}])
    foods = dict.fromkeys(("snack nuts", "lunch soup", "lunch sandwich"), FOOD)
    foods |= dict.fromkeys(("dinner fish", "dinner pasta"), ODD_FOOD)
    write(folder / "meals.csv", rewritten(folder / "meals.csv", foods))
    entered = f"## Day {DAY}, entered {DAY}T20:00:00+00:00\n\n> {NOTE}\n"
    (folder / "notes.md").write_text(f"# Notes\n\n{entered}", "utf-8")
    return folder.parent


def shown(page: str) -> str:
    """The words of a page as a browser shows them, on one line."""
    body = re.sub(r"</(p|li|td|th|h\d|pre|option|label|span)>", "\n", page.partition("<main")[2])
    return html.unescape(" ".join(re.sub(r"<[^>]+>", "", body).split()))


def test_a_client_s_own_words_are_never_taken_for_the_program_s(own: Path, visitor: Open) -> None:
    one = visitor(own)
    pages = {"ranking": shown(one.post(f"{HOME}/ranking").text)}
    for part in PARTS:
        pages[part] = shown(one.get(f"{HOME}/{part}").text)
    for part in ("ranking", "records", "pages", "pages/preparation"):
        assert f'"{TAG}" days' in pages[part].lower(), part
    for part in ("meals", f"days/{DAY}"):
        assert ODD_FOOD in pages[part], part
    for part in ("meals", f"days/{DAY}", "ranking?unit=meal"):
        assert re.search(rf"\b{FOOD}\b", pages[part]), part
    assert NOTE in pages[f"days/{DAY}"]
    for part, page in pages.items():
        for changed in ("try again", "short sleep: x", "short sleep:x", "see notes.txt"):
            assert changed not in page, (part, changed)


def test_a_note_beside_what_is_kept_is_shown_to_the_letter(own: Path, visitor: Open) -> None:
    one = visitor(own)
    page = one.post(f"{HOME}/ranking").text
    item = re.findall(r"/patterns/([0-9a-f]{8})", page)[0]
    one.post(f"{HOME}/patterns/{item}/keep", **{"as": "watch", "note": NOTE})
    assert NOTE in shown(one.get(f"{HOME}/follow-up").text)
    assert NOTE in shown(one.get(f"{HOME}/history").text)


def test_a_client_whose_code_is_a_word_of_ours_keeps_it(own: Path, visitor: Open) -> None:
    one = visitor(own)
    one.post(f"{HOME}/ranking")
    for part in ("", "/records", "/days", "/ranking", "/pages", "/folder"):
        page = one.get(f"{HOME}{part}").text
        assert "ranking" in page.partition('aria-label="Client"')[2].partition("</p>")[0], part
    assert ">ranking</a>" in one.get("/clients").text


def test_a_fault_that_quotes_a_client_s_words_quotes_them(own: Path, visitor: Open) -> None:
    one, asked = visitor(own), f"nothing {TAG} short_sleep"
    page = shown(one.post(f"{HOME}/questions", factor=asked, outcome="wake_glucose").text)
    assert f"'{asked}'" in page
    assert "The pages Days and Meals show the names." in page

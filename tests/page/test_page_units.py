"""A practice reads one unit of glucose: no page says anything in the other."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from visits import Visitor

CLIENT = "/clients/client-01"
OTHER = {"mmol/L": "mg/dL", "mg/dL": "mmol/L"}
ELSEWHERE = re.compile(r"/(download|sheet|columns|jobs/|assets/)|^/settings|^/help/")
"""Files, pages that name the units there are, and papers of the help, which are for everybody."""
BOTH_AT_ONCE = re.compile(r"[\d.]+ mg/dL \([\d.]+ mmol/L\)")


def in_unit(practice: Path, unit: str) -> None:
    path = practice / "practice.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub('display_unit = ".*"', f'display_unit = "{unit}"', text))


@pytest.fixture(params=["mmol/L", "mg/dL"])
def unit(request: pytest.FixtureRequest, practice: Path) -> str:
    """The unit of the practice."""
    in_unit(practice, request.param)
    return str(request.param)


def walked(one: Visitor, start: str) -> Iterator[tuple[str, str]]:
    """Every page that a link leads to, of days only the first: its address and its text."""
    ahead, seen = [start], set[str]()
    while ahead:
        path = ahead.pop(0)
        kind = re.sub(r"/(days|patterns)/[^/]*", r"/\1/one", path)
        if kind in seen or ELSEWHERE.search(path):
            continue
        seen.add(kind)
        answer = one.get(path)
        assert answer.status_code == 200, path
        yield path, answer.text
        ahead += [
            link.replace("&amp;", "&") for link in re.findall('href="(/[^"#]*)"', answer.text)
        ]


def test_every_page_is_in_the_unit_of_the_practice(
    practice: Path, unit: str, visitor: Callable[[Path], Visitor]
) -> None:
    one, whole = visitor(practice), ""
    ranked = one.post(f"{CLIENT}/ranking", unit="day").text
    chosen = re.findall("/patterns/([0-9a-f]{8})", ranked)[:2]
    assert chosen
    made = one.post(
        f"{CLIENT}/pages", kind=["session", "take-home", "doctor"], include=chosen, lineup="yes"
    )
    assert made.text.count("/pages/session") > 0
    for path, text in walked(one, "/"):
        assert OTHER[unit] not in text, (path, text[max(0, text.find(OTHER[unit]) - 200) :][:260])
        whole += text
    assert whole.count(unit) > 20


def test_a_practitioner_s_papers_give_a_value_in_both_units(
    practice: Path, visitor: Callable[[Path], Visitor]
) -> None:
    one = visitor(practice)
    papers = {name: one.get(f"/help/{name}").text for name in ("page", "reading", "care")}
    assert BOTH_AT_ONCE.search(papers["care"])
    for name, text in papers.items():
        assert not re.search("mg/dL|mmol/L", BOTH_AT_ONCE.sub("", text)), name

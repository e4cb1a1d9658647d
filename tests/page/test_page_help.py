"""The help of the page: each paper of ``docs/``, with links that lead to pages there are."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from visits import Visitor

from miner.page.views.handbook import names


@pytest.fixture(scope="module")
def reader(tmp_path_factory: pytest.TempPathFactory) -> Visitor:
    return Visitor(tmp_path_factory.mktemp("practice")).open()


@pytest.mark.parametrize("name", names())
def test_each_paper_is_shown_and_its_links_lead_to_pages(reader: Visitor, name: str) -> None:
    page = reader.get(f"/help/{name}")
    assert page.status_code == 200
    assert page.text.count("<h1") == 1
    body = page.text.partition("<main")[2]
    for to in re.findall(r'href="([^"#]+)', body):
        assert reader.get(to).status_code == 200, to
    for anchor in re.findall(r'href="#([^"]+)', body):
        assert f'id="{anchor}"' in body


def test_help_begins_with_what_there_is(reader: Visitor) -> None:
    assert "Reading a ranking" in reader.get("/help").text
    assert 'aria-current="true">Help' in reader.get("/help/reading").text


@pytest.mark.parametrize("name", ["nothing", "%2e%2e%2fREADME", "index.md"])
def test_nothing_else_is_shown_as_help(reader: Visitor, name: str) -> None:
    page = reader.get(f"/help/{name}")
    assert page.status_code == 404
    assert "<h1>There is nothing here</h1>" in page.text


def test_html_in_a_paper_is_not_handed_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from miner.page.views import handbook

    text = "# A title\n\n<script>alert(1)</script>\n\n[x](javascript:alert(1)) <i>y</i>\n"
    (tmp_path / "odd.md").write_text(text, "utf-8")
    monkeypatch.setattr(handbook.resources, "folder", lambda _: tmp_path)
    handbook.paper.cache_clear()
    shown = str(handbook.paper("odd").text)
    handbook.paper.cache_clear()
    assert re.findall(r"<[^>]+>", shown) == ['<h1 id="a-title">', "</h1>", "<p>", "</p>"]

"""All four pages: no barrier, on paper, and with hostile words in them."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

KINDS = ("preparation", "session", "take-home", "doctor")
PAPER = ("A4", "Letter")


def barriers(page: Any) -> list[str]:
    found = Axe().run(page)
    return [
        f"{item['id']}: {node['html'][:120]}"
        for item in found.response["violations"]
        for node in item["nodes"]
    ]


@pytest.mark.prove
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("kind", KINDS)
def test_no_barrier_is_found(pages: dict[str, Path], visit: Any, kind: str, scheme: str) -> None:
    page = visit(pages[kind], color_scheme=scheme, bypass_csp=True).page
    found = barriers(page)
    for _ in range(page.locator(".deck .card").count() - 1):
        page.keyboard.press("ArrowRight")
        mark = page.locator("svg.marked:visible .mark[tabindex='0']")
        if mark.count():
            mark.first.focus()
        found += barriers(page)
        page.keyboard.press("Escape")
        page.locator(".card.here h2").first.focus()
    assert found == []


@pytest.mark.prove
@pytest.mark.parametrize("kind", KINDS)
def test_no_barrier_is_found_where_nothing_stood_out(
    quiet: dict[str, Path], visit: Any, kind: str
) -> None:
    assert barriers(visit(quiet[kind], bypass_csp=True).page) == []


def test_a_barrier_would_be_found(pages: dict[str, Path], visit: Any, tmp_path: Path) -> None:
    broken = tmp_path / "broken.html"
    text = pages["doctor"].read_text("utf-8").replace('<html lang="en">', "<html>")
    broken.write_text(text, "utf-8")
    assert any(line.startswith("html-has-lang") for line in barriers(
        visit(broken, bypass_csp=True).page))  # fmt: skip


@pytest.mark.parametrize("form", PAPER)
@pytest.mark.parametrize("kind", ["take-home", "doctor"])
def test_one_printed_side(pages: dict[str, Path], visit: Any, kind: str, form: str) -> None:
    assert sheets(visit(pages[kind]).page.pdf(format=form)) == 1


@pytest.mark.parametrize("form", PAPER)
@pytest.mark.parametrize("scripts", [True, False])
def test_a_session_of_two_patterns_prints_on_one_page(
    two: dict[str, Path], quiet: dict[str, Path], visit: Any, form: str, scripts: bool
) -> None:
    for shown in (two, quiet):
        page = visit(shown["session"], java_script_enabled=scripts).page
        assert sheets(page.pdf(format=form)) == 1


@pytest.mark.parametrize("form", PAPER)
def test_what_is_taken_home_is_printed_large(pages: dict[str, Path], visit: Any, form: str) -> None:
    page = visit(pages["take-home"]).page
    page.emulate_media(media="print")
    sizes = page.locator("section :is(p, li)").evaluate_all(
        "all => all.map(one => parseFloat(getComputedStyle(one).fontSize) * 72 / 96)"
    )
    assert 12.9 <= min(sizes) <= max(sizes) <= 14.1
    assert sheets(page.pdf(format=form)) == 1


def sheets(pdf: bytes) -> int:
    """Count the pages of a PDF."""
    return pdf.count(b"/Type /Page") - pdf.count(b"/Type /Pages")


def test_every_card_that_says_something_is_on_paper(
    pages: dict[str, Path], visit: Any, tmp_path: Path
) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here")
    page = visit(pages["session"]).page
    headings = page.locator(".card:not(.lineup, .clock, #chosen) h2").all_text_contents()
    pdf = tmp_path / "session.pdf"
    pdf.write_bytes(page.pdf(format="A4"))
    told = subprocess.run(
        ["pdftotext", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert len(headings) == 6
    assert [text for text in headings if text not in " ".join(told.split())] == []


@pytest.mark.parametrize("width", [390, 1366])
@pytest.mark.parametrize("kind", KINDS)
def test_hostile_words_do_nothing(
    hostile: dict[str, Path], visit: Any, kind: str, width: int
) -> None:
    watched = visit(hostile[kind], size=(width, 768))
    page = watched.page
    for _ in range(max(page.locator(".deck .card").count(), 1)):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.keyboard.press("ArrowRight")
    assert watched.requests == [hostile[kind].as_uri()]
    assert watched.console == []
    assert watched.dialogs == []
    assert page.locator("img").count() == 0
    assert page.locator("script").count() == (2 if kind in ("preparation", "session") else 1)
    text = page.content()
    assert "\u202e" not in text
    assert "w" * 500 not in text
    assert "alert(3)" in page.inner_text("body")


def test_a_cut_card_a_request_and_a_fault_would_be_found(
    pages: dict[str, Path], visit: Any, tmp_path: Path
) -> None:
    text = pages["session"].read_text("utf-8")
    cut = tmp_path / "cut.html"
    cut.write_text(text.replace("</section>", "<p>word</p>" * 150 + "</section>", 1), "utf-8")
    whole = sheets(visit(pages["session"]).page.pdf(format="A4"))
    assert sheets(visit(cut).page.pdf(format="A4")) > whole
    asking = tmp_path / "asking.html"
    asking.write_text("<!doctype html><img src='http://example.invalid/a.png'>", "utf-8")
    watched = visit(asking)
    assert watched.requests == [asking.as_uri(), "http://example.invalid/a.png"]
    assert watched.console != []


def test_the_picture_of_a_day_holds_what_was_recorded(
    pages: dict[str, Path], hostile: dict[str, Path], visit: Any
) -> None:
    page = visit(pages["session"]).page
    page.locator(".card.here svg.marked:visible .mark[data-day='2026-01-20']").hover(force=True)
    lanes = page.locator("aside.peek text").all_text_contents()
    assert {"sleep", "stress", "activity", "meals", "tags"} <= set(lanes)
    assert page.locator("aside.peek rect.during").count() >= 2
    assert page.locator("aside.peek rect.noted").count() >= 3
    assert page.locator("aside.peek .notes").count() == 0
    page = visit(pages["preparation"]).page
    page.locator(".month svg.marked:visible .mark[data-day='2026-01-20']").hover(force=True)
    assert ":" in page.locator("aside.peek .notes").inner_text()
    watched = visit(hostile["preparation"])
    marks = watched.page.locator(".month svg.marked:visible .mark")
    told = ""
    for at in range(marks.count()):
        marks.nth(at).hover(force=True)
        notes = watched.page.locator("aside.peek .notes")
        told += notes.inner_text() if notes.count() else ""
        box = watched.page.locator("aside.peek").bounding_box()
        assert box is None or box["y"] >= 0
    assert "<script>alert(1)</script>" in told
    assert watched.dialogs == []
    assert watched.page.locator("aside.peek script").count() == 0

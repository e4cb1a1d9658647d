"""The page to present, used as people use it: by keyboard, by touch, without scripts, on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

MARKS = ".card.here svg.marked:visible .mark"


def shown(page: Page) -> list[str]:
    """The headings of the cards that can be seen."""
    return [text.strip() for text in page.locator(".card:visible h2")
            .all_inner_texts()]  # fmt: skip


def focused(page: Page) -> Any:
    return page.evaluate(
        "(() => { const e = document.activeElement;"
        " return [e.tagName.toLowerCase(), e.id, e.dataset.day || '']; })()"
    )


@pytest.mark.parametrize("kind", ["preparation", "session", "take-home", "doctor"])
def test_a_page_opens_from_a_file_and_asks_for_nothing(
    pages: dict[str, Path], visit: Any, kind: str
) -> None:
    watched = visit(pages[kind])
    watched.page.wait_for_load_state("networkidle")
    assert watched.requests == [pages[kind].as_uri()]
    assert watched.console == []


def test_the_policy_stops_a_script_that_was_put_in(
    pages: dict[str, Path], visit: Any, tmp_path: Path
) -> None:
    changed = tmp_path / "changed.html"
    text = pages["session"].read_text("utf-8")
    changed.write_text(text.replace("</main>", "<script>alert(1)</script></main>"), "utf-8")
    watched = visit(changed)
    assert watched.dialogs == []
    assert any("Content Security Policy" in line for line in watched.console)


def test_all_cards_by_keyboard_one_at_a_time(pages: dict[str, Path], visit: Any) -> None:
    page = visit(pages["session"]).page
    cards = page.locator(".card").count()
    seen = [page.locator("#where").inner_text()]
    for _ in range(cards - 1):
        assert page.locator(".card:visible").count() == 1
        page.keyboard.press("ArrowRight")
        assert focused(page)[0] == "h2"
        seen.append(page.locator("#where").inner_text())
    assert seen == [f"{k + 1} of {cards}" for k in range(cards)]
    page.keyboard.press("ArrowRight")
    assert page.locator("#where").inner_text() == f"{cards} of {cards}"
    page.keyboard.press("Home")
    assert page.locator("#where").inner_text() == f"1 of {cards}"
    page.keyboard.press("PageDown")
    page.keyboard.press("ArrowLeft")
    assert page.locator("#where").inner_text() == f"1 of {cards}"


def test_the_focus_can_be_seen_on_everything_it_reaches(pages: dict[str, Path], visit: Any) -> None:
    page = visit(pages["session"]).page
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    reached = set()
    for _ in range(14):
        page.keyboard.press("Tab")
        tag, name, day = focused(page)
        if tag == "body":
            continue
        reached.add(tag if tag == "input" else name or tag)
        visible = page.evaluate(
            "(() => { const e = document.activeElement;"
            " if (e.classList.contains('mark')) return e.classList.contains('shown');"
            " const s = getComputedStyle(e);"
            " return s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2; })()"
        )
        assert visible, (tag, name, day)
    assert {"back", "next", "input", "g"} <= reached


def test_a_dot_in_focus_names_its_day_and_shows_its_curve(
    pages: dict[str, Path], visit: Any
) -> None:
    page = visit(pages["session"]).page
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.locator(f"{MARKS}[tabindex='0']").focus()
    first = page.locator("aside.peek p").inner_text()
    assert first.startswith(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"))
    assert "waking glucose" in first
    path = page.locator("aside.peek path.curve").get_attribute("d") or ""
    assert path.count("L") > 60
    page.keyboard.press("ArrowRight")
    assert page.locator("aside.peek p").inner_text() != first
    assert page.locator("#where").inner_text().startswith("3 ")
    page.keyboard.press("Escape")
    assert not page.locator("aside.peek").is_visible()


def test_pointing_at_a_dot_shows_its_day(pages: dict[str, Path], visit: Any) -> None:
    page = visit(pages["session"]).page
    page.locator(f"{MARKS}[data-day='2026-01-20']").hover(force=True)
    assert page.locator("aside.peek p").inner_text().startswith("Tue 20 January")
    assert page.locator("aside.peek path.curve").count() == 1


def test_a_touch_shows_a_day_and_a_swipe_turns_the_card(pages: dict[str, Path], visit: Any) -> None:
    page = visit(pages["session"], size=(390, 844), has_touch=True, is_mobile=True).page
    page.locator(f"{MARKS}[data-day='2026-01-20']").tap(force=True)
    assert page.locator("aside.peek").is_visible()
    page.evaluate(
        """() => { const at = (x) => new Touch({identifier: 1, target: document.body,
        clientX: x, clientY: 300});
        const fire = (kind, x, list) => document.querySelector('.card.here').dispatchEvent(
          new TouchEvent(kind, {bubbles: true, touches: list, changedTouches: [at(x)]}));
        fire('touchstart', 300, [at(300)]); fire('touchend', 100, []); }"""
    )
    assert page.locator("#where").inner_text().startswith("2 ")


def test_the_filter_keeps_the_cards_of_one_outcome(pages: dict[str, Path], visit: Any) -> None:
    page = visit(pages["session"]).page
    page.select_option("#filter", "overnight_mean")
    count = int(page.locator("#where").inner_text().split()[-1])
    headings = []
    for _ in range(count):
        headings += shown(page)
        page.locator("#next").click(force=True)
    assert not [text for text in headings if "glucose at waking" in text]
    assert [text for text in headings if "glucose at night" in text]


def test_everything_can_be_read_without_scripts(pages: dict[str, Path], visit: Any) -> None:
    page = visit(pages["session"], java_script_enabled=False).page
    cards = page.locator(".card")
    assert page.locator(".card:visible").count() == cards.count() > 3
    assert not page.locator(".bar").is_visible()
    assert not page.locator("#filter").is_visible()
    assert page.locator("svg.marked .mark title").count() > 40


@pytest.mark.parametrize("kind", ["preparation", "session", "take-home", "doctor"])
@pytest.mark.parametrize("width", [320, 390, 820])
def test_no_page_is_wider_than_the_window(
    pages: dict[str, Path], visit: Any, kind: str, width: int
) -> None:
    page = visit(pages[kind], size=(width, 800)).page
    for _ in range(max(page.locator(".deck .card").count(), 1)):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.keyboard.press("ArrowRight")


def test_no_word_of_a_figure_lies_on_another(pages: dict[str, Path], visit: Any) -> None:
    for size in ((1366, 768), (390, 844)):
        page = visit(pages["session"], size=size).page
        for _ in range(page.locator(".card").count()):
            boxes = page.evaluate(
                "[...document.querySelectorAll('.card.here svg.figure')]"
                ".filter(s => s.getBoundingClientRect().width).map(s =>"
                " [...s.querySelectorAll('text')].map(t => { const r = t.getBoundingClientRect();"
                " return [r.left, r.top, r.right, r.bottom, t.textContent]; }))"
            )
            for figure in boxes:
                clashes = [
                    (a[4], b[4])
                    for at, a in enumerate(figure)
                    for b in figure[at + 1 :]
                    if a[0] < b[2] - 1 and b[0] < a[2] - 1 and a[1] < b[3] - 1 and b[1] < a[3] - 1
                ]
                assert clashes == []
            page.keyboard.press("ArrowRight")


def test_words_of_figures_are_large_enough(pages: dict[str, Path], visit: Any) -> None:
    for size, least in (((1366, 768), 16), ((1280, 800), 16), ((390, 844), 12)):
        page = visit(pages["session"], size=size).page
        for _ in range(page.locator(".card").count()):
            sizes = page.evaluate(
                "[...document.querySelectorAll('.card.here svg.figure text')].map(t => {"
                " const s = t.ownerSVGElement, w = s.getBoundingClientRect().width;"
                " return w ? parseFloat(getComputedStyle(t).fontSize) * w /"
                " s.viewBox.baseVal.width : 99; })"
            )
            assert min(sizes, default=99) >= least
            page.keyboard.press("ArrowRight")

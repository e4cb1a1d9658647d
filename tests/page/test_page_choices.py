"""What is chosen on the session page: kept, shown again, taken back; from a saved file by codes."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from visits import HOME, Served, Visitor, words

from miner import ledger, steps

SESSION, CHOICES = "/clients/client-01/pages/session", "/clients/client-01/choices"
SHORT_NIGHT, LATE_DINNER, COFFEE = "4c28aa7c", "658ef86f", "8807c741"
SHOWN = [SHORT_NIGHT, LATE_DINNER, COFFEE]


@pytest.fixture(scope="module")
def made(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Visitor:
    """Somebody who has made a session page of three patterns."""
    folder = tmp_path_factory.mktemp("choices") / "practice"
    shutil.copytree(invented / "client-01", folder / "client-01")
    shutil.copy(invented / "practice.toml", folder)
    at = Visitor(folder).open()
    at.post("/clients/client-01/ranking")
    at.post("/clients/client-01/pages", include=SHOWN, kind="session")
    return at


@pytest.fixture
def visitor_of(made: Visitor) -> Iterator[Visitor]:
    """The same, with nothing chosen."""
    yield made
    made.state.results_of("client-01").wished.clear()
    for path in made.state.practice.joinpath("client-01").glob("*ledger*"):
        path.unlink()


def entries(at: Visitor) -> list[str]:
    told = ledger.read(at.state.practice / "client-01").events
    return [one.event for one in told if one.event in ("kept", "left", "dropped", "taken_up")]


def picked(text: str) -> set[str]:
    """Pattern and choice of every control that is marked."""
    return set(re.findall(r'id="x-([0-9a-f]{8}-\w+)" value="\w+" checked', text))


def choose(at: Visitor, **chosen: str) -> str:
    fields = {f"choice-{id_}": choice for id_, choice in chosen.items()}
    return at.post(CHOICES, **fields).text


def test_what_was_chosen_stays_and_can_be_taken_back(visitor_of: Visitor) -> None:
    at = visitor_of
    assert picked(at.get(SESSION).text) == set()
    choose(at, **{SHORT_NIGHT: "test", LATE_DINNER: "leave"})
    assert entries(at) == ["kept", "left"]
    page = at.get(SESSION).text
    assert picked(page) == {f"{SHORT_NIGHT}-test", f"{LATE_DINNER}-leave"}
    assert "Open now: 1." in page
    assert f'action="/clients/client-01/patterns/{SHORT_NIGHT}/plan"' in page
    followed = words(at.get("/clients/client-01/follow-up"))
    assert "to be tested" in followed
    assert "left" in followed.casefold()
    for id_ in (SHORT_NIGHT, LATE_DINNER):
        at.post(CHOICES, undo=id_)
    assert entries(at) == ["kept", "left", "dropped", "taken_up"]
    assert picked(at.get(SESSION).text) == set()


def test_a_fourth_idea_is_refused_and_nothing_of_it_is_lost(visitor_of: Visitor) -> None:
    at, client = visitor_of, visitor_of.state.practice / "client-01"
    read = steps.read_client(client)
    others = [
        one.id
        for one in steps.rank(read).hypotheses
        if one.difference and one.id not in SHOWN and len(one.factors) == 1
    ]
    steps.choose(read, dict.fromkeys(others[:2], "watch"))
    said = choose(at, **{SHORT_NIGHT: "watch", COFFEE: "watch"})
    assert "4 kept patterns would be open" in said
    assert "nothing was written" in said
    assert entries(at) == ["kept", "kept"]
    assert picked(at.get(SESSION).text) == {f"{SHORT_NIGHT}-watch", f"{COFFEE}-watch"}


def test_only_what_is_possible_is_offered_and_taken(visitor_of: Visitor) -> None:
    text = visitor_of.get(SESSION).text
    offered = set(re.findall(r'id="x-([0-9a-f]{8}-\w+)"', text))
    assert {f"{SHORT_NIGHT}-{one}" for one in ("test", "anyway", "watch", "leave")} <= offered
    assert {f"{COFFEE}-test", f"{LATE_DINNER}-anyway", f"{COFFEE}-anyway"} & offered == set()
    assert "cannot be tested" in choose(visitor_of, **{COFFEE: "test"})
    assert entries(visitor_of) == []


def test_a_saved_page_has_codes_and_no_form_and_its_codes_are_taken(visitor_of: Visitor) -> None:
    at = visitor_of
    served, saved = at.get(SESSION).text, at.get(f"{SESSION}?save=1").text
    assert "<form" in served
    assert at.keys.form in served
    assert "form-action &#39;self&#39;" in served
    assert "<form" not in saved
    assert at.keys.form not in saved
    assert "form-action &#39;none&#39;" in saved
    codes = dict(re.findall(r'pick-([0-9a-f]{8}-\w+)">([TDWL]-[A-Z]{5}-[A-Z])</span>', saved))
    assert len(codes) == len(set(re.findall(r'id="x-([0-9a-f]{8}-\w+)"', saved)))
    two = f"{codes[f'{SHORT_NIGHT}-watch']}, {codes[f'{COFFEE}-leave'].lower()}"
    at.post(CHOICES, codes=two)
    assert entries(at) == ["kept", "left"]
    assert "does not fit" in at.post(CHOICES, codes="W" + codes[f"{COFFEE}-leave"][1:]).text


def test_a_form_of_another_page_is_not_taken(visitor_of: Visitor) -> None:
    fields = {f"choice-{SHORT_NIGHT}": "watch"}
    at = visitor_of.client
    assert at.post(CHOICES, data=fields, headers={"origin": HOME}).status_code == 403
    origin = {"origin": "null"}
    fields["form_key"] = visitor_of.keys.form
    assert at.post(CHOICES, data=fields, headers=origin).status_code == 403
    assert entries(visitor_of) == []


def by_label(page: Page, name: str, card: int) -> None:
    page.locator(".choices").nth(card).locator("label", has_text=name).click()


def shown_at_end(page: Page) -> list[str]:
    return [each.strip() for each in page.locator(".codes .code:visible").all_inner_texts()]


def test_a_saved_page_shows_its_codes_without_scripts(
    visitor_of: Visitor, chromium: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "session.html"
    path.write_text(visitor_of.get(f"{SESSION}?save=1").text, encoding="utf-8")
    context = chromium.new_context(
        java_script_enabled=False, offline=True, viewport={"width": 390, "height": 844}
    )
    page = context.new_page()
    page.goto(path.as_uri())
    assert shown_at_end(page) == []
    assert page.locator("#chosen >> text=Not chosen yet").count() == 3
    by_label(page, "Watch", 0)
    by_label(page, "Leave", 1)
    page.keyboard.press("ArrowLeft")
    first, second = shown_at_end(page)
    assert (first[0], second[0]) == ("W", "W")
    assert page.locator(".choices").first.locator(".code:visible").inner_text() == first
    assert page.locator("#chosen >> text=Not chosen yet >> visible=true").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    context.close()


def test_by_keyboard_in_the_browser_from_choosing_to_the_length_of_a_test(
    practice: Path, chromium: Browser, serve: Callable[[Path], Served]
) -> None:
    served = serve(practice)
    desk = served.browser(follow_redirects=True)
    key = re.search(r'name="form_key" value="([^"]+)"', desk.get("/clients/client-01/pages").text)
    assert key is not None
    asked = {"form_key": key[1]}
    steps_of = (("ranking", asked), ("pages", asked | {"include": SHOWN, "kind": "session"}))
    for path, fields in steps_of:
        answer = desk.post(f"/clients/client-01/{path}", data=fields)
        while "data-work" in answer.text:
            time.sleep(0.2)
            answer = desk.get(str(answer.url))
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.goto(served.open_file())
    page.wait_for_url(f"{served.home}/")
    page.goto(served.home + SESSION)
    while page.locator(".card.here .choices").count() == 0:
        page.keyboard.press("PageDown")
    page.locator(".card.here .choices input").first.focus()
    page.keyboard.press("Space")
    for _ in range(page.locator(".card").count()):
        page.keyboard.press("PageDown")
    assert page.locator(".which b:visible").all_inner_texts() == ["Test"]
    page.locator("button", has_text="Save what we chose").press("Enter")
    page.wait_for_url(re.compile("#chosen$"))
    assert page.locator(".card.here h2").inner_text() == "What we chose"
    assert page.locator(".stands:visible").count() == 1
    page.locator("button", has_text="Choose how long").press("Enter")
    page.wait_for_url(re.compile("/plan$"))
    assert page.locator(".kicker").inner_text() == "Plan a test"
    assert not [line for line in said if "Content Security Policy" in line]
    context.close()

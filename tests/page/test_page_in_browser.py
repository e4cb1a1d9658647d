"""The page as a newcomer uses it, in a real browser, with the network refused outside it."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect
from visits import Served

from miner import ledger, steps
from miner.ledger import replay
from miner.records.write.ticks import read_ticks

Serve = Callable[[Path], Served]
WAIT_MS = 20_000


class Desk:
    """A browser that opened the page; what it asked for elsewhere, or complained of, is kept."""

    def __init__(self, chromium: Browser, served: Served, **options: Any) -> None:
        self.home, self.elsewhere, self.console = served.home, [], []
        self.context: BrowserContext = chromium.new_context(
            viewport={"width": 1280, "height": 800}, **options
        )
        self.context.set_default_timeout(WAIT_MS)
        self.context.route("**/*", self._only_here)
        self.page = self.tab()
        self.page.goto(served.open_file())
        if not options.get("java_script_enabled", True):
            self.page.click("text=Open the page")
        self.page.wait_for_url(f"{self.home}/")

    def tab(self) -> Page:
        """Open one more tab."""
        page = self.context.new_page()
        page.on("console", lambda message: self.console.append(message.text))
        page.on("pageerror", lambda error: self.console.append(str(error)))
        return page

    def go(self, path: str) -> Page:
        """Go to one of the page's own addresses."""
        self.page.goto(self.home + path)
        return self.page

    def _only_here(self, route: Route) -> None:
        if route.request.url.startswith((self.home, "file:")):
            route.continue_()
        else:
            self.elsewhere.append(route.request.url)
            route.abort()


@pytest.fixture
def sit(chromium: Browser) -> Iterator[Callable[..., Desk]]:
    """Sit down at a page that is served."""
    desks: list[Desk] = []

    def open_(served: Served, **options: Any) -> Desk:
        desks.append(Desk(chromium, served, **options))
        return desks[-1]

    yield open_
    for desk in desks:
        desk.context.close()


def drop(page: Page, paths: list[Path]) -> None:
    """Drop files anywhere on the page, as a hand does."""
    held = page.evaluate_handle("() => new DataTransfer()")
    for path in paths:
        page.evaluate(
            """([held, name, bytes]) => held.items.add(
            new File([Uint8Array.from(atob(bytes), (c) => c.charCodeAt(0))], name))""",
            [held, path.name, _base64(path)],
        )
    page.dispatch_event("main h1", "drop", {"dataTransfer": held})


def _base64(path: Path) -> str:
    import base64

    return base64.b64encode(path.read_bytes()).decode()


def make_client(desk: Desk, code: str) -> None:
    desk.go("/clients")
    desk.page.fill("#code", code)
    desk.page.click("text=Add client")
    desk.page.wait_for_url("**/intake*")


def rank(desk: Desk, code: str) -> Page:
    """Rank a client's records, for the first time or again."""
    page = desk.go(f"/clients/{code}/ranking")
    page.get_by_role("button", name=re.compile("Rank these records|Rank again")).click()
    page.wait_for_selector("main >> text=All numbers")
    return page


def test_the_whole_path_of_a_newcomer(
    invented: Path, empty: Path, serve: Serve, sit: Callable[..., Desk], tmp_path: Path
) -> None:
    messy, code = invented / "client-04", "client-01"
    desk = sit(serve(empty))
    page = desk.page
    assert "Begin here" in page.inner_text("main")
    page.click("text=Add the first client")
    make_client(desk, code)
    page.check("input[name=intake-insulin][value=no]")
    page.click("button:has-text('Save')")

    for factor, outcome in (("short_sleep", "wake_glucose"), ("late_dinner", "overnight_mean"),
                            ("walk_after_dinner", "biggest_rise")):  # fmt: skip
        desk.go(f"/clients/{code}/questions")
        page.select_option("#factor", factor)
        page.select_option("#outcome", outcome)
        page.fill("#fixed_on", "2026-01-11")
        page.click("main button.main")
    assert "3 questions are written down" in page.inner_text("main")

    desk.go(f"/clients/{code}/records")
    files = [path for path in sorted(messy.iterdir()) if path.suffix in (".csv", ".txt")]
    drop(page, files)
    page.wait_for_selector("text=6 files wait")
    choose_columns(page, "sensor download.txt")
    page.wait_for_selector("#preview table")
    page.select_option("#decimal", ".")
    expect(page.locator("#preview")).not_to_contain_text("88.28")
    page.select_option("#decimal", ",")
    page.wait_for_selector("#preview >> text=88.28")
    page.click("button:has-text('Save')")
    map_nights(page)
    page.click("text=Add all that can be read")
    assert "Added to the records: nights.csv, sensor download.txt" in page.inner_text(".said")
    assert (empty / code / "nights.csv").read_bytes() == (messy / "nights.csv").read_bytes()
    assert "days can be used" in page.inner_text("main")

    desk.go(f"/clients/{code}/days")
    picked = page.input_value("#day")
    page.fill("#day", "2026-01-20")
    page.click("button:has-text('Show')")
    assert picked != page.input_value("#day") == "2026-01-20"
    assert page.locator(".picture svg").count() == 1

    began = time.perf_counter()
    desk.go(f"/clients/{code}/ranking")
    page.click("text=Rank these records")
    page.wait_for_selector("main >> text=All numbers")
    assert time.perf_counter() - began < 20  # hangs are found here; speed is measured elsewhere
    read_share_and_keep(desk, code)
    follow_and_plan(desk, code, empty, tmp_path, invented)
    assert desk.elsewhere == []
    assert desk.console == []


def choose_columns(page: Page, name: str) -> None:
    page.locator("article.file", has_text=name).get_by_role(
        "link", name="Choose the columns"
    ).click()
    page.wait_for_url("**/records/columns*")


def map_nights(page: Page) -> None:
    choose_columns(page, "nights.csv")
    page.select_option("#stream", "sleep")
    page.click("text=Suggest the columns")
    page.wait_for_selector("#c-start")
    page.select_option("#c-start", "Fell asleep")
    page.select_option("#c-end", "Woke")
    page.select_option("#c-asleep_min", "Sleep (h)")
    page.select_option("select[name=unit-asleep_min]", "h")
    page.select_option("#time_format", "%d/%m/%Y %H:%M")
    page.select_option("#decimal", ",")
    page.wait_for_selector("#preview >> text=Read as sleep: 42 rows")
    page.click("button:has-text('Save')")
    page.wait_for_url("**/records?*")


def read_share_and_keep(desk: Desk, code: str) -> None:
    page = desk.page
    text = page.inner_text("main")
    assert text.index("REFER FIRST.") < text.index("Open a pattern")
    link = page.locator("main a[href*='/patterns/']").first
    id_ = str(link.get_attribute("href")).rpartition("/")[2]
    link.click()
    page.wait_for_selector("text=where each value came from")
    assert "sensor download.txt:" in page.inner_text("main")

    desk.go(f"/clients/{code}/pages")
    page.check(f"input[name=include][value='{id_}']")
    page.click("text=Make these pages")
    page.wait_for_selector("text=Ready to show")
    with desk.context.expect_page() as opened:
        page.click("main li >> text=Session >> nth=0")
    shown = opened.value
    shown.wait_for_load_state()
    # nobody has told this client to see a clinician yet: the page says that, and nothing else
    assert shown.locator(".card").count() == 1
    assert "Please see your doctor first" in shown.inner_text("body")
    assert len(shown.pdf()) > 10_000
    shown.close()

    desk.go(f"/clients/{code}/patterns/{id_}")
    page.fill("#note", "agreed")
    page.click("button.main:has-text('Keep')")
    page.wait_for_url("**/follow-up*")
    assert "Note: agreed" in page.inner_text("main")


def follow_and_plan(desk: Desk, code: str, practice: Path, tmp_path: Path, invented: Path) -> None:
    """Next month's files, the follow-up, and a plan that can be printed."""
    page = desk.page
    next_month = tmp_path / "glucose-march.csv"
    lines = [
        f"2026-03-{day:02d}T{hour:02d}:{minute:02d},{100 + (day * hour) % 30}"
        for day in range(1, 29)
        for hour in range(24)
        for minute in (0, 15, 30, 45)
    ]
    next_month.write_text("time,glucose_mg_dl\n" + "\n".join(lines) + "\n")
    desk.go(f"/clients/{code}/records")
    drop(page, [next_month])
    page.wait_for_selector("text=Read as glucose")
    page.click("button:has-text('Add to the records')")
    desk.go(f"/clients/{code}/follow-up")
    page.click("text=Read what the new days say")
    page.wait_for_selector("text=Records up to 28 Mar")

    desk.go(f"/clients/{code}/history")
    assert "2026" in page.inner_text("main")
    story = replay(ledger.read(practice / code))
    assert len(story.kept) == 1
    desk.go(f"/clients/{code}/records")
    drop(page, [invented / "client-01" / "meals.csv"])
    page.wait_for_selector("text=Read as meals")
    page.click("button:has-text('Add to the records')")
    meals_and_settings(desk, code, practice)


def meals_and_settings(desk: Desk, code: str, practice: Path) -> None:
    """A ranking by meal, meals side by side, a sensor change, and the unit of the practice."""
    page = desk.go(f"/clients/{code}/ranking")
    page.click("summary:has-text('Rank by meal')")
    page.check("input[name=unit][value=meal]")
    page.click("text=Rank like this")
    page.wait_for_selector(".kicker:has-text('by meal')")
    page.wait_for_selector("main >> text=Second look")

    desk.go(f"/clients/{code}/meals")
    page.select_option("#factor", "late_meal")
    page.click("button:has-text('Compare')")
    page.wait_for_url("**/meals?compare=late_meal")
    assert page.locator("h3").count() >= 1
    looks = ledger.named(ledger.read(practice / code), "looked")
    assert ["late_meal"] in [look.payload["factors"] for look in looks]

    desk.go(f"/clients/{code}/settings")
    page.locator("input[name=sensor_change]").first.fill("2026-01-30T09:15")
    page.click("main button.main")
    page.wait_for_selector("text=Saved.")
    settings = steps.read_client(practice / code).settings
    assert [str(change)[:16] for change in settings.sensor_changes] == ["2026-01-30 09:15"]

    desk.go("/settings")
    page.check("input[name=display_unit][value='mmol/L']")
    page.click("main button.main")
    page.wait_for_selector("text=Saved for every client.")
    desk.go(f"/clients/{code}/days/2026-01-20")
    assert "mmol/L" in page.inner_text("main")


def test_a_plan_is_looked_at_written_and_printed(shared: Any, sit: Callable[..., Desk]) -> None:
    desk = sit(shared.served)
    page = rank(desk, "client-01")
    desk.go("/clients/client-01/patterns/4c28aa7c")
    page.fill("#start", "2026-03-09")
    page.click("button:has-text('Plan a test')")
    page.click("button[name=length][value=long]")
    page.wait_for_selector("button[value=long][aria-pressed=true]")
    assert page.is_visible("button:has-text('Save this plan')")
    # its days are past for the program that is open: it is written as on the day before
    folder = shared.practice / "client-01"
    before = replay(ledger.read(folder)).kept
    wish, now = steps.Wish(date(2026, 3, 9), length="long"), datetime(2026, 3, 8, tzinfo=UTC)
    steps.plan(steps.read_client(folder), "4c28aa7c", wish, now=now)
    page = desk.go("/clients/client-01/follow-up")
    *others, kept = replay(ledger.read(shared.practice / "client-01")).kept
    assert len(others) == len(before)
    assert kept.id == "4c28aa7c"
    with desk.context.expect_page() as opened:
        page.click("text=page to print")
    opened.value.wait_for_load_state()
    assert opened.value.url.endswith(f"{kept.plans[0].name}/sheet")
    assert opened.value.inner_text("h1") == "Go to bed 45 minutes earlier."
    assert len(opened.value.pdf()) > 5_000
    tick_by_keyboard(desk, shared.practice / "client-01", kept.plans[0].name)
    assert desk.console == []


def tick_by_keyboard(desk: Desk, folder: Path, name: str) -> None:
    """Records that reach into the plan, then two days ticked with the keyboard alone."""
    rows = [f"2026-03-{day:02d}T{hour:02d}:00,100" for day in range(8, 15) for hour in range(24)]
    (folder / "glucose-march.csv").write_text("\n".join(["time,glucose_mg_dl", *rows, ""]))
    page = desk.go(f"/clients/client-01/plans/{name}")
    for day, said in (("2026-03-09", "yes"), ("2026-03-10", "yes"), ("2026-03-10", "no")):
        page.focus(f"#tick-{day}")
        page.keyboard.press("Enter")
        page.wait_for_selector(f"text={int(day[-2:])} Mar ticked {said}.")
    assert read_ticks(folder).of(name) == {"2026-03-09": "yes", "2026-03-10": "no"}
    assert page.get_attribute("#tick-2026-03-10", "value") == "forgot"


def test_everything_works_without_the_script(shared: Any, sit: Callable[..., Desk]) -> None:
    desk = sit(shared.served, java_script_enabled=False)
    page = desk.go("/clients/client-01/records")
    page.set_input_files("#files", str(shared.practice / "client-01" / "tags.csv"))
    page.click("button:has-text('Send')")
    assert "This file was added before" in page.inner_text("main")
    page.click("button:has-text('Remove')")
    page = rank(desk, "client-01")
    assert desk.console == []


def pages_of(code: str, plan: str) -> list[str]:
    parts = ("", "/intake", "/questions", "/records", "/days/2026-01-20", "/table", "/week",
             "/ranking", "/ranking?unit=meal", "/ranking?first=2026-02-01", "/patterns/4c28aa7c",
             "/meals?compare=walk_after", "/pages", "/follow-up", f"/plans/{plan}", "/history",
             "/folder", "/settings",
             "/records/columns?file=x.csv")  # fmt: skip
    own = [
        "/",
        "/?on=2026-02-22",
        "/clients",
        "/caseload",
        "/rules",
        "/rules/short_sleep",
        "/settings",
        "/help",
        "/help/commands",
        "/help/definitions",
    ]
    return [*own, *(f"/clients/{code}{part}" for part in parts), "/nowhere"]


def barriers(page: Page, path: str, **only: Any) -> list[tuple[str, str, str]]:
    """What the rules of axe-core find on a page."""
    return [
        (path, item["id"], node["html"][:120])
        for item in Axe().run(page, options=only).response["violations"]
        for node in item["nodes"]
    ]


def put_side_by_side(desk: Desk, code: str) -> None:
    page = desk.go(f"/clients/{code}/meals")
    page.select_option("#factor", "walk_after")
    page.click("button:has-text('Compare')")
    page.wait_for_url("**/meals?compare=walk_after")


@pytest.mark.prove
def test_no_barrier_is_found_and_nothing_is_wider_than_a_phone(
    shared: Any, sit: Callable[..., Desk]
) -> None:
    """Every page, light and dark, at the width of a phone and of a laptop."""
    desk = sit(shared.served, bypass_csp=True)
    page = rank(desk, "client-01")
    (shared.practice / "client-01" / ".waiting").mkdir(exist_ok=True)
    (shared.practice / "client-01" / ".waiting" / "x.csv").write_text(
        "When,What\n2026-01-20 10:00,tea\n"
    )
    put_side_by_side(desk, "client-01")
    story = replay(ledger.read(shared.practice / "client-01"))
    plan = story.plans[0].name if story.plans else "none"
    found, wide = [], []
    for path in pages_of("client-01", plan):
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            if scheme == "light":
                desk.go(path)
                while page.locator("[data-again]").count():  # it loads itself again
                    page.wait_for_timeout(300)
                    desk.go(path)
                found += barriers(page, path)
            else:  # nothing but the colours is another
                found += barriers(page, path, runOnly=["color-contrast"])
        for width in (390, 1280):
            page.set_viewport_size({"width": width, "height": 800})
            if page.evaluate("document.documentElement.scrollWidth") > width:
                wide.append((path, width))
    assert found == []
    assert wide == []


def test_a_barrier_would_be_found(shared: Any, sit: Callable[..., Desk]) -> None:
    desk = sit(shared.served, bypass_csp=True)
    page = desk.go("/help")
    page.emulate_media(color_scheme="dark")
    page.add_style_tag(content="main p{color:#333}")
    assert {rule for _, rule, _ in barriers(page, "/help", runOnly=["color-contrast"])} == {
        "color-contrast"
    }


def test_the_whole_job_is_done_by_keyboard_alone(shared: Any, sit: Callable[..., Desk]) -> None:
    desk = sit(shared.served)
    page = desk.go("/clients/client-02/questions")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    reached = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        visible = page.evaluate(
            "(() => { const s = getComputedStyle(document.activeElement);"
            " return document.activeElement === document.body"
            " || s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2; })()"
        )
        assert visible
        reached.add(page.evaluate("document.activeElement.id || document.activeElement.tagName"))
    assert {"factor", "words", "outcome", "fixed_on", "BUTTON"} <= reached
    page.focus("#factor")
    page.keyboard.type("a short night")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.type("waking")
    page.keyboard.press("Tab")
    for _ in range(3):
        page.keyboard.press("Tab")
    page.focus("main button.main")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Saved.")
    assert [item.factor for item in steps.fixed_questions(shared.practice / "client-02")] == [
        "short_sleep"
    ]


def test_two_tabs_that_do_the_same_do_it_once(shared: Any, sit: Callable[..., Desk]) -> None:
    desk = sit(shared.served)
    page = rank(desk, "client-01")
    other = desk.tab()
    for tab in (page, other):
        tab.goto(f"{desk.home}/clients/client-01/patterns/8807c741")
    for tab in (page, other):
        tab.evaluate("document.querySelector('form[action$=keep]').submit()")
    for tab in (page, other):
        tab.wait_for_load_state("networkidle")
    kept = replay(ledger.read(shared.practice / "client-01")).kept
    assert [item.id for item in kept].count("8807c741") == 1
    page.goto(f"{desk.home}/clients/client-01/follow-up")
    assert page.locator("article.file").count() == len(kept)


def test_a_kill_in_the_middle_of_an_upload_leaves_nothing_half_there(
    practice: Path, serve: Serve
) -> None:
    served, folder = serve(practice), practice / "client-01"
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    browser = served.browser()
    key = browser.get("/clients/client-01/records").text.partition('name="form_key" value="')[2][
        :64
    ]

    def endless() -> Iterator[bytes]:
        yield (f'--a\r\nContent-Disposition: form-data; name="form_key"\r\n\r\n{key}\r\n--a\r\n'
               'Content-Disposition: form-data; name="files"; filename="glucose-2.csv"\r\n\r\n'
               ).encode()  # fmt: skip
        for _ in range(2000):
            yield b"2026-03-01T00:00,100\n" * 100
            time.sleep(0.01)

    def send() -> None:
        with pytest.raises(httpx.TransportError):
            browser.post("/clients/client-01/records", content=endless(),
                         headers={"content-type": "multipart/form-data; boundary=a"})  # fmt: skip

    thread = threading.Thread(target=send)
    thread.start()
    time.sleep(0.4)
    served.kill()
    thread.join(20)
    again = serve(practice)
    assert again.browser().get("/").status_code == 200
    after = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    assert {name: after[name] for name in before} == before
    assert not list(practice.rglob(".incoming-*"))
    assert not (folder / "glucose-2.csv").exists()


def test_a_kill_in_the_middle_of_a_keep_leaves_a_whole_ledger(practice: Path, serve: Serve) -> None:
    served, folder = serve(practice), practice / "client-01"
    browser = served.browser(follow_redirects=True)
    key = browser.get("/clients/client-01/questions").text.partition('form_key" value="')[2][:64]
    fields = {"form_key": key, "as": "watch"}

    def send() -> None:
        try:
            browser.post("/clients/client-01/patterns/4c28aa7c/keep", data=fields)
        except httpx.TransportError:
            return

    thread = threading.Thread(target=send)
    thread.start()
    time.sleep(0.2)
    served.kill()
    thread.join(20)
    book = ledger.read(folder)
    kept = replay(book).kept
    assert [item.id for item in kept] in ([], ["4c28aa7c"])
    assert len(kept) == sum(event.event == "kept" for event in book.events)
    if not kept:
        assert steps.keep(steps.read_client(folder), "4c28aa7c", "watch").id == "4c28aa7c"


def test_two_hundred_requests_at_once_are_all_answered(shared: Any) -> None:
    served = shared.served
    browser = served.browser(limits=httpx.Limits(max_connections=200))
    paths = ["/", "/clients", "/clients/client-01", "/clients/client-01/records", "/help"] * 40
    with ThreadPoolExecutor(200) as pool:
        answers = list(pool.map(lambda path: browser.get(path).status_code, paths))
    assert answers == [200] * 200


def test_a_file_of_200_megabytes_is_refused_with_the_limit(shared: Any) -> None:
    served = shared.served
    browser = served.browser()
    piece = b"2026-03-01T00:00,100\n" * 50_000

    def body() -> Iterator[bytes]:
        for _ in range(200):
            yield piece

    size = str(200 * len(piece))
    kind = {"content-type": "multipart/form-data; boundary=a", "content-length": size}
    answer = browser.post("/clients/client-02/records", content=body(), headers=kind)
    assert answer.status_code == 413
    assert "at most 64 MB" in answer.text
    assert not (shared.practice / "client-02" / ".waiting").exists()


def test_it_listens_on_this_machine_only(shared: Any) -> None:
    import socket

    served = shared.served
    port = int(served.home.rpartition(":")[2])
    others = {
        info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        if not str(info[4][0]).startswith("127.")
    }  # fmt: skip
    for other in others:
        with socket.socket() as probe:
            probe.settimeout(2)
            assert probe.connect_ex((str(other), port)) != 0
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", port)) == 0

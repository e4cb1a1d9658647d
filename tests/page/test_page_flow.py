"""The pages say what the commands say, in the same order, and write only where they are sent."""

from __future__ import annotations

import gc
import re
import shutil
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from visits import Visitor, words

from miner import ledger, rulebook, steps
from miner.core.results import Evidence
from miner.core.results.caseload import Caseload, Suggested, Suggestion
from miner.core.results.follow import Following, FollowPicture, NewUnits, UnitSeen
from miner.ledger import replay
from miner.page.app import ROUTES
from miner.page.jobs import Jobs
from miner.page.render import blocks
from miner.page.serving import warm
from miner.render.terminal import render
from miner.words.door import at_door
from miner.words.ranking import ranking_parts
from miner.words.said import rules_at_door

pytestmark = pytest.mark.usefixtures("derived_once")

Open = Callable[[Path], Visitor]
EVERY_PAGE = (
    "",
    "/intake",
    "/questions",
    "/records",
    "/days",
    "/week",
    "/table",
    "/meals",
    "/ranking",
    "/pages",
    "/follow-up",
    "/history",
    "/folder",
    "/settings",
)
CLIENT = "/clients/client-01"


def tree(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def squeezed(text: str) -> str:
    return "".join(text.split())


def test_the_ranking_on_the_page_is_word_for_word_the_command_s(
    practice: Path, visitor: Open
) -> None:
    folder = practice / "client-01"
    page = words(visitor(practice).post(f"{CLIENT}/ranking"))
    client = steps.read_client(folder)
    rules = steps.load_rules(None, folder)
    ranking = replace(steps.rank(client, rules, remember=False), rankings_of_these_records=1)
    with at_door("page"):
        printed = render(ranking_parts(ranking, rules_at_door(rules)), 100_000)
    told = squeezed(re.sub(r"&\w+;|&#\d+;", "", page))
    for line in printed.splitlines():
        said = squeezed(re.sub(r"['\"<>&]", "", line))
        assert said in told.replace("'", ""), line


def test_cautions_come_before_any_pattern(invented: Path, visitor: Open, tmp_path: Path) -> None:
    folder = tmp_path / "p"
    folder.mkdir()
    shutil.copytree(invented / "client-04", folder / "client-04")
    one = visitor(folder)
    one.post("/clients/client-04/ranking")
    for part in EVERY_PAGE:
        text = words(one.get(f"/clients/client-04{part}"))
        assert text.startswith('id="main"> REFER FIRST.'), part
        assert text.count("REFER FIRST.") == 1, part
    id_ = re.search(r"/patterns/([0-9a-f]{8})", one.get("/clients/client-04/ranking").text)
    assert id_ is not None
    text = words(one.get(f"/clients/client-04/patterns/{id_[1]}"))
    assert text.index("REFER FIRST.") < text.index("What next?")


@pytest.mark.usefixtures("planned_in_march")
def test_looking_writes_nothing_but_that_somebody_looked(practice: Path, visitor: Open) -> None:
    """Every GET, with a ranking there to be looked at: only the ledger grows, by looks."""
    one = visitor(practice)
    one.post(f"{CLIENT}/ranking")
    fields = {"start": "2026-03-09", "pairs": "6", "action": "write"}
    one.post(f"{CLIENT}/patterns/4c28aa7c/plan", **fields)
    (plan,) = replay(ledger.read(practice / "client-01")).plans
    one.post(f"{CLIENT}/ranking", unit="meal")
    one.post(f"{CLIENT}/ranking", first="2026-01-14", last="2026-02-10")
    one.post(f"{CLIENT}/meals", factor="walk_after")
    before, entries = tree(practice), ledger.read(practice / "client-01").events
    known = {"code": "client-01", "day": "2026-02-01", "id": "4c28aa7c", "kind": "preparation",
             "name": "short_sleep", "job": "x", "plan": plan.name}  # fmt: skip
    for method, path, _ in ROUTES:
        if method == "GET":
            address = re.sub(r"\{(\w+)\}", lambda found: known[found[1]], path)
            assert one.get(address).status_code in (200, 404, 400), address
    for query in ("ranking?unit=meal", "ranking?first=2026-01-14&last=2026-02-10",
                  "ranking?unit=meal&first=2026-02-01", "meals?compare=walk_after",
                  "meals?compare=late_meal", f"plans/{plan.name}/sheet?as=calendar"):  # fmt: skip
        assert one.get(f"{CLIENT}/{query}").status_code == 200, query
    after = tree(practice)
    written = {f"client-01/{name}" for name in ("ledger.jsonl", ".ledger.last")}
    assert {name for name in before | after if before.get(name) != after.get(name)} == written
    looks = ledger.read(practice / "client-01").events[len(entries) :]
    assert [(e.event, e.payload["what"], e.payload["unit"]) for e in looks] == [
        ("looked", "day", "day"),
        ("looked", "day", "day"),
        ("looked", "days", "day"),
    ]


def test_a_pattern_is_kept_followed_and_given_up(practice: Path, visitor: Open) -> None:
    one, folder = visitor(practice), practice / "client-01"
    one.post(f"{CLIENT}/ranking")
    page = one.post(
        f"{CLIENT}/patterns/4c28aa7c/keep", **{"as": "watch", "note": "by <b>phone</b>"}
    )
    assert "by <b>" not in page.text
    assert "by &lt;b&gt;phone" in page.text
    assert one.send(f"{CLIENT}/patterns/4c28aa7c/keep", **{"as": "sell"}).status_code == 303
    page = words(one.post(f"{CLIENT}/follow-up"))
    (kept,) = steps.follow(steps.read_client(folder), remember=True).kept
    with at_door("page"):
        said = kept.sentence
    assert squeezed(said) in squeezed(page)
    page = words(one.get(f"{CLIENT}/patterns/4c28aa7c"))
    assert "This pattern is kept." in page
    one.post(f"{CLIENT}/follow-up/drop", id="4c28aa7c")
    assert replay(ledger.read(folder)).open_on(None) == ()


def test_a_verdict_stands_in_one_picture_and_what_is_next_is_written(
    practice: Path, visitor: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, folder = visitor(practice), practice / "client-01"
    one.post(f"{CLIENT}/ranking")
    waiting = one.post(f"{CLIENT}/patterns/4c28aa7c/keep", **{"as": "watch"}).text
    assert "days counted." in waiting
    assert "<svg" not in waiting
    steps.drop(steps.read_client(folder), "4c28aa7c")
    real = steps.follow

    def follow(*given: Any, **how: Any) -> Following:
        found = real(*given, **how)
        units = (UnitSeen("2026-02-24", 95.0, False), UnitSeen("2026-02-25", 109.0, True))
        told = replace(
            found.kept[0],
            status="held_up",
            difference=10.0,
            interval=(6.0, 15.0),
            counts=NewUnits(2, 1, 1, 0),
            picture=FollowPicture(units, new=units),
            open=False,
        )
        return replace(found, kept=(told, *found.kept[1:]))

    monkeypatch.setattr(steps, "follow", follow)
    page = one.get(f"{CLIENT}/follow-up").text
    assert page.count("<svg") == 2  # wide and narrow
    assert "unsafe" not in one.get(f"{CLIENT}/follow-up").headers["content-security-policy"]
    told = words(page)
    assert "It held up on new days." in told
    assert "about 10 mg/dL higher (6 to 15 higher)" in told
    assert "25 February 2026 short nights 109" in told
    assert "Leave it" in told
    left = words(one.post(f"{CLIENT}/follow-up/leave", id="4c28aa7c"))
    assert [item.what.id for item in replay(ledger.read(folder)).still_left] == ["4c28aa7c"]
    assert "Leave it" not in left
    again = words(one.post(f"{CLIENT}/follow-up/take-up", id="4c28aa7c"))
    assert "Undone. You can keep or test this pattern again." in again
    assert "Leave it" in again
    assert replay(ledger.read(folder)).still_left == ()


def test_a_fourth_pattern_is_refused_in_the_page_s_own_words(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    ids = re.findall(r"/patterns/([0-9a-f]{8})", one.post(f"{CLIENT}/ranking").text)
    for id_ in list(dict.fromkeys(ids))[:3]:
        one.post(f"{CLIENT}/patterns/{id_}/keep", **{"as": "watch"})
    fourth = list(dict.fromkeys(ids))[3]
    page = one.post(f"{CLIENT}/patterns/{fourth}/keep", **{"as": "watch"})
    assert page.status_code == 400
    assert "3 patterns are kept already" in words(page)
    assert "miner " not in words(page)


@pytest.mark.usefixtures("planned_in_march")
def test_a_plan_is_looked_at_before_it_is_written_and_read(practice: Path, visitor: Open) -> None:
    one, folder = visitor(practice), practice / "client-01"
    one.post(f"{CLIENT}/ranking")
    fields = {"start": "2026-03-09", "pairs": "6"}
    page = words(one.post(f"{CLIENT}/patterns/4c28aa7c/plan", **fields))
    assert "Choose how long it takes" in page
    assert replay(ledger.read(folder)).kept == ()
    one.post(f"{CLIENT}/patterns/4c28aa7c/plan", **(fields | {"action": "write"}))
    (plan,) = replay(ledger.read(folder)).kept[0].plans
    sheet = one.get(f"{CLIENT}/plans/{plan.name}/sheet")
    assert "The question is: do days with this differ" in sheet.text
    assert plan.name not in sheet.text
    assert "unsafe" not in sheet.headers["content-security-policy"]
    calendar = one.get(f"{CLIENT}/plans/{plan.name}/sheet", params={"as": "calendar"})
    assert calendar.text.count("BEGIN:VEVENT") >= 12
    page = words(one.post(f"{CLIENT}/follow-up/result", plan=plan.name))
    assert "So far 0 of 6 pairs are complete." in page
    assert one.send(f"{CLIENT}/patterns/4c28aa7c/plan", start="soon").status_code == 400


def test_only_what_was_chosen_reaches_a_client_s_page(practice: Path, visitor: Open) -> None:
    one, folder = visitor(practice), practice / "client-01"
    one.post(f"{CLIENT}/ranking")
    one.post(f"{CLIENT}/pages", include=["4c28aa7c"], kind=["session", "take-home"])
    session = one.get(f"{CLIENT}/pages/session").text
    assert "short night" in session
    assert "late dinner" not in session.partition("<svg")[0]
    assert one.get(f"{CLIENT}/pages/doctor").status_code == 404
    shared = ledger.named(ledger.read(folder), "shared")
    assert [(event.payload["page"], event.payload["ids"]) for event in shared] == [
        ("session", ["4c28aa7c"]), ("take-home", ["4c28aa7c"])]  # fmt: skip
    saved = one.get(f"{CLIENT}/pages/session", params={"save": "1"})
    assert saved.headers["content-disposition"] == 'attachment; filename="client-01-session.html"'
    # the page that is served may post what was chosen, the file that is saved may post nothing
    assert saved.text != session
    assert "form-action &#39;none&#39;" in saved.text
    assert saved.text.count("<article") == session.count("<article")


def test_a_pattern_by_meal_is_found_kept_and_shared(practice: Path, visitor: Open) -> None:
    one, folder = visitor(practice), practice / "client-01"
    one.post(f"{CLIENT}/ranking")
    by_meal = steps.rank(steps.read_client(folder), unit="meal", remember=False, together=False)
    item = next(one for one in by_meal.hypotheses if "walk_after" in one.factors)
    page = one.get(f"{CLIENT}/patterns/{item.id}")
    assert page.status_code == 200
    with at_door("page"):
        said = item.sentence.replace("'", "&#39;")
    assert squeezed(said) in squeezed(words(page))
    assert "Every meal, with and without" in words(page)
    assert f'value="{item.id}"' in one.get(f"{CLIENT}/pages").text
    one.post(f"{CLIENT}/patterns/{item.id}/keep", **{"as": "watch"})
    assert [kept.id for kept in replay(ledger.read(folder)).open_on(None)] == [item.id]
    assert "This pattern is kept." in words(one.get(f"{CLIENT}/patterns/{item.id}"))
    one.post(f"{CLIENT}/pages", include=[item.id, "4c28aa7c"], kind=["session"])
    (event,) = ledger.named(ledger.read(folder), "shared")
    assert event.payload["ids"] == ["4c28aa7c", item.id]
    counts = f"{item.counts.with_high} of {item.counts.with_}"
    assert counts in words(one.get(f"{CLIENT}/pages/session"))
    assert one.get(f"{CLIENT}/patterns/00000000").status_code == 404


def test_a_refusal_by_a_caution_leads_to_the_intake(practice: Path, visitor: Open) -> None:
    one, folder = visitor(practice), practice / "client-01"
    settings = folder / "client.toml"
    asked = settings.read_text(encoding="utf-8").replace('insulin = "no"', 'insulin = "yes"')
    settings.write_text(asked, encoding="utf-8")
    one.post(f"{CLIENT}/ranking")
    page = one.post(f"{CLIENT}/patterns/4c28aa7c/keep", **{"as": "alternate"})
    told = squeezed(words(page))
    assert squeezed("client-01: no test about sleep can be planned yet.") in told
    assert squeezed("Why: yes to insulin.") in told
    assert squeezed("What lifts it: refer the client to a clinician") in told
    assert f'href="{CLIENT}/intake">Open the page Intake' in page.text
    assert ledger.named(ledger.read(folder), "kept") == ()


def test_a_change_of_the_rule_book_tells_days_and_no_results(practice: Path, visitor: Open) -> None:
    one, folder = visitor(practice), practice / "client-01"
    page = words(one.post("/rules/short_sleep", at="6.5", action="look"))
    table = steps.days(steps.read_client(folder)).frame
    why = steps.why(steps.read_client(folder), "4c28aa7c", remember=True)
    hours = {item.unit: item.factors[0].measure for item in why.units}
    moved = sum(
        bool(usable) and hours[day] is not None and 6 <= (hours[day] or 0) < 6.5
        for day, usable in zip(table.index.astype(str), table["usable"], strict=True)
    )
    assert moved > 0
    assert f"{moved} of {int(table['usable'].sum())} days that can be used" in page
    assert not re.search(r"mg/dL|clear|hint|difference", page)
    assert not (practice / "rules").exists()
    one.post("/rules/short_sleep", at="6.5", action="write")
    assert steps.load_rules(None, folder).factors["short_sleep"].at == 6.5
    rest = {name: rule for name, rule in rulebook.load().factors.items() if name != "short_sleep"}
    changed = steps.load_rules(None, folder).factors
    assert {name: changed[name] for name in rest} == rest
    page = words(one.post(f"{CLIENT}/ranking"))
    assert "a short night is under 6.5 hours (as shipped: under 6 hours)" in page
    assert one.send("/rules/short_sleep", at="six").status_code == 400


def test_the_morning_groups_as_the_command_does(invented: Path, visitor: Open) -> None:
    one, on = visitor(invented), date(2026, 2, 22)
    assert "Still reading 6 of 6 clients." in words(one.get("/"))
    for _ in range(600):
        page = words(one.get("/", params={"on": on.isoformat()}))
        if "Still reading" not in page:
            break
        time.sleep(0.1)
    found = steps.practice_morning(invented, on)
    groups = (found.look_first, found.nudge, found.stale, found.on_test, found.ordinary)
    places = [page.index(item.client) for group in groups for item in group]
    assert places == sorted(places)
    assert str(found.note).split(".")[0] in page


def test_two_clients_of_one_code_each_lead_to_their_own_folder(
    practice: Path, visitor: Open
) -> None:
    shutil.copytree(practice / "client-01", practice / "copy")
    (practice / "copy" / "client.toml").write_text('code = "client-01"\n', encoding="utf-8")
    one = visitor(practice)
    for name in ("client-01", "copy"):
        one.state.clients.entry(practice / name).morning(date(2026, 2, 22))
    page = one.get("/", params={"on": "2026-02-22"}).text
    for name in ("client-01", "copy"):
        assert f'href="/clients/{name}">client-01 in {name}</a>' in page


def test_food_fear_comes_first_on_the_morning_the_day_and_the_week(
    practice: Path, visitor: Open
) -> None:
    caution = "Eating-disorder risk or food fear: refer, show no numbers or curves"
    folder = practice / "client-01"
    (folder / "client.toml").write_text(
        'time_zone = "Europe/Berlin"\n[intake]\neating_disorder = "yes"\n', encoding="utf-8"
    )
    one = visitor(practice)
    one.state.clients.entry(folder).morning(date(2026, 2, 22))
    morning = words(one.get("/", params={"on": "2026-02-22"}))
    assert morning.index("Look at these first") < morning.index(caution)
    assert "A message, ready to send" not in morning
    day = one.get(f"{CLIENT}/days/2026-02-01").text
    assert day.count(caution) == 1
    assert day.index(caution) < day.index("Picture of the day")
    week = words(one.get(f"{CLIENT}/week"))
    assert week.index(caution) < week.index("What was noted, by day")
    assert "Please note" not in week


def test_clients_that_were_read_are_not_looked_through_for_garbage(
    practice: Path, visitor: Open
) -> None:
    one = visitor(practice)
    gc.unfreeze()
    try:
        warm(one.state)
        held = one.state.clients.known("client-01")
        assert held is not None
        assert gc.get_freeze_count() > 10_000
        assert not any(item is held for item in gc.get_objects())
        assert "41 of 43 days can be used" in words(one.get(CLIENT))
    finally:
        gc.unfreeze()


def test_the_caseload_is_looked_at_and_shown(practice: Path, invented: Path, visitor: Open) -> None:
    shutil.copytree(invented / "client-03", practice / "client-03")
    one = visitor(practice)
    page = words(one.post("/caseload"))
    assert "2 clients: 1 ranked, 1 with too few days" in page
    assert "Records are running" in page
    assert "/clients/client-03/week" in one.get("/caseload").text
    whole = one.get("/caseload/page")
    assert "client-03" in whole.text
    assert "sha256" in whole.headers["content-security-policy"]


def test_the_caseload_by_meal_stands_beside_the_one_by_day(
    practice: Path, visitor: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    def pooled(place: Path, *, unit: str, **_: Any) -> Caseload:
        return Caseload(place.name, "0", unit, "mg/dL", (), 9, 0, 0, 0.05, 104, 0, ())

    monkeypatch.setattr(steps, "pool", pooled)
    one = visitor(practice)
    assert "By day" in words(one.get("/caseload"))
    page = words(one.post("/caseload", by="meal"))
    assert "What the clients have in common by meal" in page
    assert "Across the 9 who agreed, no habit stood out in 104 patterns." in page
    assert "104 patterns" not in words(one.get("/caseload"))
    assert "by meal" in words(one.get("/caseload/page?by=meal"))
    assert one.get("/caseload/page?by=day").url.path == "/caseload"


def test_other_clients_questions_are_offered_and_written_down(
    empty: Path, visitor: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    item = Suggestion(
        "high_carb",
        "rise",
        "meal",
        0,
        "precedes",
        "up",
        9,
        4.0,
        (2.0, 6.0),
        "mg/dL",
        0.001,
        0.02,
        Evidence.CLEAR,
        sentence="Across 9 other clients, the rise was higher.",
    )
    offered = Suggested("client-05", "client-05", 9, 3, (item,), 100)
    monkeypatch.setattr(steps, "suggested_questions", lambda *_, **__: offered)
    one = visitor(empty)
    one.post("/clients", code="client-05", time_zone="Europe/Lisbon", calm="1")
    assert "This client's own records are not used" in words(
        one.get("/clients/client-05/questions")
    )
    page = words(one.post("/clients/client-05/questions/suggest"))
    assert "other clients who agreed, not from this client's." in unescape(page)
    assert "Across 9 other clients, the rise was higher." in page
    assert "with the guess higher" in page
    pair = {"factor": "high_carb", "outcome": "rise", "guess": "up"}
    page = words(one.post("/clients/client-05/questions", **pair))
    assert "You have 1 question so far" in page
    assert "Across 9 other clients" not in page


def test_work_can_be_stopped_and_is_joined_while_it_goes_on() -> None:
    jobs, begun = Jobs(), threading.Event()

    def work(progress: Any) -> str:
        for step in range(10_000):
            begun.set()
            progress(f"step {step}", step / 10_000)
            time.sleep(0.001)
        return "/done"

    job = jobs.start("k", "Work", "/back", "client-01", work)
    assert begun.wait(5)
    assert jobs.start("k", "Work", "/back", "client-01", work) is job
    job.halt.set()
    assert job.ended.wait(5)
    assert job.stopped
    assert job.done is None
    again = jobs.start("k", "Work", "/back", "client-01", lambda _: "/done")
    assert again is not job
    assert again.ended.wait(5)
    assert again.done == "/done"


def test_stopping_a_ranking_leaves_no_trace_of_it(
    practice: Path, visitor: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.undo()  # records that no other test has ranked: what is known cannot be stopped
    one, gate = visitor(practice), threading.Event()
    real = steps.briefing

    def slow(*given: Any, progress: Any, **more: Any) -> Any:
        def told(step: str, share: float) -> None:
            gate.wait(10)
            progress(step, share)

        return real(*given, progress=told, **more)

    monkeypatch.setattr(steps, "briefing", slow)
    place = one.send(f"{CLIENT}/ranking").headers["location"]
    assert place.startswith("/jobs/")
    assert "Progress" in one.get(place).text
    assert one.get(f"{place}/progress").json()["ended"] is False
    threading.Timer(0.2, gate.set).start()
    page = one.post(f"{place}/stop")
    assert "The work was stopped." in words(page)
    assert ledger.named(ledger.read(practice / "client-01"), "ranked") == ()


def test_what_is_told_keeps_every_word() -> None:
    from miner.words.document import heading, paragraph, table, urgent

    parts = [
        heading("A & B"),
        urgent("now", 2),
        paragraph("deep", 4),
        paragraph(""),
        *table(["day", ">mg\ndL"], [("2026-01-01", "1\n2")]),
    ]
    assert [(item.kind, item.text, item.depth) for item in blocks(parts)] == [
        ("heading", "A & B", 0), ("urgent", "now", 0), ("text", "deep", 2), ("table", "", 0),
    ]  # fmt: skip
    assert blocks(parts)[-1].columns == (("day", ""), ("mg dL", "number"))
    assert blocks(parts)[-1].rows == (("2026-01-01", "1 2"),)


def test_questions_are_fixed_before_there_are_records(empty: Path, visitor: Open) -> None:
    one = visitor(empty)
    one.post("/clients", code="client-05", time_zone="Europe/Lisbon", calm="1")
    fields = {"factor": "tag:*", "words": "Red  wine", "outcome": "overnight_mean", "guess": "up"}
    page = words(one.post("/clients/client-05/questions", **fields))
    assert "You have 1 question so far" in page
    (fixed,) = steps.fixed_questions(empty / "client-05")
    assert (fixed.factor, fixed.outcome, fixed.guess) == ("tag:red wine", "overnight_mean", "up")
    assert one.send("/clients/client-05/questions", factor="tag:*").status_code == 400
    pair = {"factor": "short_sleep", "outcome": "whole_day"}
    assert 'value="whole_day"' in one.get("/clients/client-05/questions").text
    assert one.send("/clients/client-05/questions", **pair, shape="line").status_code == 400
    page = words(one.post("/clients/client-05/questions", **pair, shape="dose"))
    assert "It compares by how much." in page
    _, fixed = steps.fixed_questions(empty / "client-05")
    assert (fixed.outcome, fixed.shape) == ("whole_day", "dose")
    assert one.send("/clients", code="client-05").status_code == 400
    assert one.send("/clients", code="client-06", time_zone="Mars/Base").status_code == 400
    assert not (empty / "client-06").exists()
    assert "There are no records yet" in words(one.get("/clients/client-05/records"))


def test_a_file_changed_by_hand_is_seen_at_once(practice: Path, visitor: Open) -> None:
    one, folder = visitor(practice), practice / "client-01"
    before = words(one.get(CLIENT))
    usable = int(re.findall(r"(\d+) of \d+ days can be used", before)[0])
    text = (folder / "client.toml").read_text()
    left = '[[left_out]]\ndate = 2026-01-20\nreason = "ill"\n'
    (folder / "client.toml").write_text(f"{text}\n{left}")
    assert f"{usable - 1} of" in words(one.get(CLIENT))


def test_a_client_whose_records_stop_the_work_is_told_and_not_waited_for(
    practice: Path, visitor: Open
) -> None:
    path = practice / "client-01" / "glucose.csv"
    path.write_text(path.read_text().replace("2026-", "someday-"))
    one = visitor(practice)
    for _ in range(100):
        page = words(one.get("/"))
        if "Still reading" not in page:
            break
        time.sleep(0.1)
    assert "Waiting for records or for you 1 client-01" in page
    for part in ("", "/records", "/ranking", "/follow-up"):
        assert one.get(f"{CLIENT}{part}").status_code == 200
    assert one.get(f"{CLIENT}/days").status_code == 400


def test_a_saved_file_has_a_plain_name_whatever_the_folder_is_called(
    practice: Path, visitor: Open
) -> None:
    odd = practice / 'Zoë; filename="x'
    (practice / "client-01").rename(odd)
    home = f"/clients/{quote(odd.name)}"
    answer = visitor(practice).get(f"{home}/download", params={"as": "csv"})
    assert answer.status_code == 200
    named = answer.headers["content-disposition"]
    assert named == 'attachment; filename="Zo___filename__x-csv.zip"'


def test_the_check_on_the_page_tells_of_the_ledger_as_it_is_now(
    practice: Path, visitor: Open
) -> None:
    one, path = visitor(practice), practice / "client-01" / ledger.NAME
    assert "What was fixed, kept and read" not in words(one.get(f"{CLIENT}/records"))
    path.write_bytes(b"{}\n")
    page = words(one.get(f"{CLIENT}/records"))
    assert "What was fixed, kept and read" in page
    assert "the last line is not finished" in page

"""The ticks of a plan on its page: read as the commands read them, written whole or not at all."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from visits import Visitor, words

from miner import steps
from miner.core.results import Plan
from miner.records.write.ticks import NOTED, read_ticks
from miner.steps.checking import ticks_told
from miner.steps.ticking import sheet_of

Open = Callable[[Path], Visitor]
ID = "4c28aa7c"


@pytest.fixture(scope="module")
def agreed(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Plan]:
    """A client with a plan; never changed."""
    folder = tmp_path_factory.mktemp("agreed") / "client-01"
    shutil.copytree(invented / "client-01", folder)
    wish, before = steps.Wish(start=date(2026, 3, 9), pairs=6), datetime(2026, 3, 8, tzinfo=UTC)
    made = steps.plan(steps.read_client(folder), ID, wish, now=before)
    return folder, made


@pytest.fixture
def planned(agreed: tuple[Path, Plan], tmp_path: Path) -> tuple[Path, Plan]:
    """The same in a practice that a test may change; its records reach to the middle of March."""
    practice = tmp_path / "practice"
    shutil.copytree(agreed[0], practice / "client-01")
    rows = [f"2026-03-{day:02d}T{hour:02d}:00,100" for day in range(8, 19) for hour in range(24)]
    text = "\n".join(["time,glucose_mg_dl", *rows])
    (practice / "client-01" / "glucose-march.csv").write_text(f"{text}\n")
    return practice, agreed[1]


@pytest.fixture
def one(
    planned: tuple[Path, Plan], visitor: Open, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., int]:
    """Send ticks as the form does, on 15 March by the clock; return the status."""

    class Clock(date):
        @classmethod
        def today(cls) -> date:
            return date(2026, 3, 15)

    monkeypatch.setattr("miner.page.views.plans.date", Clock)
    browser, name = visitor(planned[0]), planned[1].plan

    def send(seen: str = "", **said: str) -> int:
        fields = {f"tick-{day.replace('_', '-')[1:]}": answer for day, answer in said.items()}
        if seen:
            fields["seen"] = seen
        return browser.send(f"/clients/client-01/plans/{name}", **fields).status_code

    send.browser = browser  # type: ignore[attr-defined]
    return send


def day(text: str) -> str:
    return "d" + text.replace("-", "_")


def test_what_is_ticked_is_what_the_commands_read(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    practice, plan = planned
    folder = practice / "client-01"
    assert one(**{day("2026-03-09"): "yes", day("2026-03-10"): "no", day("2026-03-11"): ""}) == 303
    assert read_ticks(folder).of(plan.plan) == {"2026-03-09": "yes", "2026-03-10": "no"}
    assert ticks_told(steps.read_client(folder)) == ()
    assert one(**{day("2026-03-10"): "", day("2026-03-12"): "forgot"}) == 303
    assert read_ticks(folder).of(plan.plan) == {"2026-03-09": "yes", "2026-03-12": "forgot"}
    page = words(one.browser.get(f"/clients/client-01/plans/{plan.plan}"))  # type: ignore[attr-defined]
    assert "7 days are not ticked" in page  # the records end before 18 March does
    assert "14 days are still to come" in page
    shown = one.browser.get(f"/clients/client-01/plans/{plan.plan}").text  # type: ignore[attr-defined]
    assert 'name="tick-2026-03-09" value="no"' in shown  # what a press makes of a yes
    assert 'name="tick-2026-03-12" value=""' in shown
    assert 'name="tick-2026-03-11" value="yes"' in shown
    assert 'name="tick-2026-03-18"' in shown  # the records reach to it, whatever the clock says
    assert 'name="tick-2026-03-19"' not in shown


@pytest.mark.parametrize(
    ("on", "said"),
    [
        ("2026-03-09", "maybe"), ("2026-03-25", "yes"), ("2026-02-01", "yes"),
        ("2027-01-01", "no"), ("2026-13-40", "yes"), ("../../x", "yes"), ("<b>", "yes"),
    ],
)  # fmt: skip
def test_a_tick_that_cannot_be_writes_nothing(
    planned: tuple[Path, Plan], one: Callable[..., int], on: str, said: str
) -> None:
    folder = planned[0] / "client-01"
    before = sorted(path.name for path in folder.iterdir())
    assert one(**{day("2026-03-09"): "yes", day(on): said}) == 400
    assert sorted(path.name for path in folder.iterdir()) == before


def test_another_file_s_answer_is_shown_and_not_contradicted(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    practice, plan = planned
    folder = practice / "client-01"
    (folder / "ticks-client.csv").write_text(
        f"date,plan,done\n2026-03-09,{plan.plan},yes\n2026-03-10,{plan.plan},forgot\n"
    )
    shown = one.browser.get(f"/clients/client-01/plans/{plan.plan}").text  # type: ignore[attr-defined]
    assert "come from ticks-client.csv. Correct them there" in shown
    assert 'name="tick-2026-03-09"' not in shown
    assert 'name="tick-2026-03-10"' in shown
    assert one(**{day("2026-03-09"): "no"}) == 400
    assert not (folder / NOTED).exists()
    assert one(**{day("2026-03-10"): "no"}) == 303
    assert read_ticks(folder).of(plan.plan) == {"2026-03-09": "yes", "2026-03-10": "no"}


def test_a_form_older_than_the_file_does_not_write_over_it(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    folder, name = planned[0] / "client-01", planned[1].plan
    shown = one.browser.get(f"/clients/client-01/plans/{name}").text  # type: ignore[attr-defined]
    seen = shown.partition('name="seen" value="')[2][:24]
    assert one(seen, **{day("2026-03-09"): "yes"}) == 303
    assert one(seen, **{day("2026-03-09"): "no"}) == 400
    assert read_ticks(folder).of(name) == {"2026-03-09": "yes"}


def test_a_file_changed_by_hand_is_left_as_it_is(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    folder, name = planned[0] / "client-01", planned[1].plan
    own = f"date,plan,answer,why\n2026-03-09,{name},yes,my note\n"
    (folder / NOTED).write_text(own)
    assert one(**{day("2026-03-10"): "yes"}) == 400
    assert (folder / NOTED).read_text() == own


def test_a_write_that_is_cut_off_leaves_the_ticks_there_were(
    planned: tuple[Path, Plan], one: Callable[..., int], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = planned[0] / "client-01"
    assert one(**{day("2026-03-09"): "yes"}) == 303
    before = (folder / NOTED).read_bytes()
    with monkeypatch.context() as broken:
        broken.setattr(Path, "replace", _no_space)
        assert one(**{day("2026-03-09"): "no"}) == 400
    assert (folder / NOTED).read_bytes() == before
    assert not list(folder.glob(".incoming-*"))


def _no_space(*_: object) -> None:
    raise OSError(28, "No space left on device")


def test_a_file_of_ticks_that_cannot_be_read_is_told_on_the_page(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    (planned[0] / "client-01" / "ticks-x.csv").write_text("when;what\n1;2\n")
    answer = one.browser.get(f"/clients/client-01/plans/{planned[1].plan}")  # type: ignore[attr-defined]
    assert answer.status_code == 200
    assert "ticks-x.csv" in words(answer)
    assert 'name="tick-' not in answer.text


def test_no_dropped_file_takes_the_place_of_the_page_s_own(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    files = {"files": (NOTED, b"date,plan,answer\n")}
    page = one.browser.post("/clients/client-01/records", files=files)  # type: ignore[attr-defined]
    assert "is a file that the program keeps itself" in words(page)


def test_the_result_counts_what_was_ticked(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    """Pairs followed by ticks alone, beside the same ticks in a file of the client's."""
    practice, plan = planned
    folder = practice / "client-01"
    sheet = sheet_of(folder, plan, "2026-03-18")
    days = [one_day.day for _, group in sheet for one_day in group if one_day.over]
    assert one(**{day(text): "no" for text in days}) == 303
    client = steps.read_client(folder)
    by_page = steps.result(client, plan.plan)
    (folder / NOTED).rename(folder / "ticks-client.csv")
    by_file = steps.result(steps.read_client(folder), plan.plan)
    assert by_page.pairs_not_followed == by_file.pairs_not_followed
    assert by_page.pairs_used == by_file.pairs_used


def test_one_press_ticks_all_and_another_takes_it_back(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    folder, name = planned[0] / "client-01", planned[1].plan
    assert one(**{day("2026-03-10"): "no"}) == 303
    browser: Visitor = one.browser  # type: ignore[attr-defined]
    at = f"/clients/client-01/plans/{name}"
    assert "8 days ticked as planned, 1 already there" in words(browser.post(at, rest="1"))
    ticked = read_ticks(folder).of(name)
    assert len(ticked) == 9
    assert (ticked["2026-03-10"], ticked["2026-03-11"], max(ticked)) == ("no", "yes", "2026-03-17")
    assert "Every day so far is ticked" in words(browser.get(at))
    assert one(**{day("2026-03-11"): "forgot"}) == 303
    assert read_ticks(folder).of(name)["2026-03-11"] == "forgot"
    assert "Undo the last tick" in words(browser.get(at))
    assert "the last 1 tick noted is taken back" in words(browser.post(at, undo="1")).lower()
    assert read_ticks(folder).of(name)["2026-03-11"] == "yes"
    assert "the last 8 ticks noted are taken back" in words(browser.post(at, undo="1")).lower()
    assert read_ticks(folder).of(name) == {"2026-03-10": "no"}


def test_a_press_comes_back_to_the_day_that_was_pressed(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    browser: Visitor = one.browser  # type: ignore[attr-defined]
    at = f"/clients/client-01/plans/{planned[1].plan}"
    answer = browser.send(at, **{"tick-2026-03-09": "yes"})
    assert answer.headers["location"].endswith("#tick-2026-03-09")
    assert 'id="tick-2026-03-09"' in browser.get(at).text


def test_the_morning_tells_days_without_a_tick_and_ticks_them(
    planned: tuple[Path, Plan], one: Callable[..., int]
) -> None:
    browser: Visitor = one.browser  # type: ignore[attr-defined]
    one.browser.state.clients.entry(planned[0] / "client-01")  # type: ignore[attr-defined]
    for _ in range(300):
        page = browser.get("/?on=2026-03-16")
        if "Still reading" not in page.text:
            break
        time.sleep(0.1)
    assert "7 days are not ticked. All done as planned" in words(page)
    assert f'action="/clients/client-01/plans/{planned[1].plan}"' in page.text

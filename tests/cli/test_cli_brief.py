"""``miner brief`` over the real steps: what it writes, where, and what it remembers."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from miner import steps
from miner.core import resources
from miner.render.pages import render

pytestmark = pytest.mark.usefixtures("derived_once")

SHORT_NIGHTS = "4c28aa7c"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A practice with a client who has a pattern and one with too few days."""
    folder = tmp_path_factory.mktemp("practice")
    invented = resources.invented()
    some = [one for one in invented.demo_scenarios() if one.code in ("client-01", "client-03")]
    invented.write_practice(folder, some)
    return folder


@pytest.fixture
def practice(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(written, tmp_path / "practice"))


def shared(client: Path) -> list[dict[str, Any]]:
    lines = (client / "ledger.jsonl").read_text(encoding="utf-8").splitlines()
    events = [json.loads(line) for line in lines]
    return [event for event in events if event["event"] == "shared"]


def test_a_shared_page_is_written_and_remembered_and_a_private_one_is_not(
    practice: Path, run: Any, tmp_path: Path
) -> None:
    client, out = practice / "client-01", tmp_path / "page.html"
    private = run("brief", str(client), "--out", str(out), "--as", "preparation")
    assert (private.exit_code, private.stdout) == (0, "")
    assert shared(client) == []
    done = run("brief", str(client), "--out", str(out), "--as", "session",
               "--include", SHORT_NIGHTS)  # fmt: skip
    assert done.exit_code == 0
    assert done.stderr.splitlines() == [f"Written: {out}"]
    assert SHORT_NIGHTS in out.read_text("utf-8")
    (event,) = shared(client)
    assert (event["page"], event["ids"]) == ("session", [SHORT_NIGHTS])
    report = steps.briefing(steps.read_client(client), remember=False)
    assert [(item.page, item.ids) for item in report.shared] == [("session", (SHORT_NIGHTS,))]


def test_the_figures_are_written_at_print_size(practice: Path, run: Any, tmp_path: Path) -> None:
    figures = tmp_path / "figures"
    done = run("brief", str(practice / "client-01"), "--out", str(tmp_path / "p.html"), "--as",
               "take-home", "--include", SHORT_NIGHTS, "--lineup",
               "--figures", str(figures))  # fmt: skip
    assert "8 figures written." in done.stderr
    names = {"days", f"dots-{SHORT_NIGHTS}", f"difference-{SHORT_NIGHTS}", f"lineup-{SHORT_NIGHTS}"}
    assert {path.stem for path in figures.iterdir()} == names
    for path in figures.iterdir():
        start = path.read_bytes()[:5]
        assert start == (b"<?xml" if path.suffix == ".svg" else b"\x89PNG\r")


def test_a_pattern_by_meal_has_its_figures_and_its_pairs(
    practice: Path, run: Any, tmp_path: Path
) -> None:
    client = steps.read_client(practice / "client-01")
    chosen = next(
        item
        for item in steps.rank(client, unit="meal", remember=False, together=False).hypotheses
        if item.factors == ("tag:restaurant",) and item.difference is not None
    )
    pairs = steps.compare_meals(client, chosen.factors[0], outcome=chosen.outcome, remember=True)
    assert pairs.pairs
    figures = tmp_path / "figures"
    done = run("brief", str(practice / "client-01"), "--out", str(tmp_path / "p.html"), "--as",
               "preparation", "--include", chosen.id, "--lineup",
               "--figures", str(figures))  # fmt: skip
    assert "10 figures written." in done.stderr
    kinds = ("dots", "difference", "pairs", "lineup")
    assert {path.stem for path in figures.iterdir()} == {
        "days",
        *(f"{kind}-{chosen.id}" for kind in kinds),
    }
    drawn = (figures / f"dots-{chosen.id}.svg").read_text("utf-8")
    assert f">{chosen.counts.with_} restaurant meals<" in drawn
    # A line a pair at the left of the picture, from without to with.
    assert "with it" in (figures / f"pairs-{chosen.id}.svg").read_text("utf-8")


def test_without_anything_chosen_the_practitioner_is_told(
    practice: Path, run: Any, tmp_path: Path
) -> None:
    done = run("brief", str(practice / "client-01"), "--out", str(tmp_path / "p.html"),
               "--as", "take-home")  # fmt: skip
    assert "Add --include 1" in done.stderr


def test_too_few_days_still_make_a_page(practice: Path, run: Any, tmp_path: Path) -> None:
    out = tmp_path / "p.html"
    done = run("brief", str(practice / "client-03"), "--out", str(out), "--as", "session")
    assert done.exit_code == 3
    assert "There are too few days to go by as yet." in out.read_text("utf-8")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--out", "p.html", "--as", "session", "--include", "4c28aa7d"],
         "Did you mean '4c28aa7c'?"),
        (["--out", "p.html", "--as", "take-home", "--plan", "p9"], "There is no test 'p9'"),
        (["--out", "p.txt", "--as", "session"], "a name that ends in .html"),
        (["--out", "taken.html", "--as", "session"], "a file here that miner did not write"),
        (["--out", "p.html", "--as", "poster"], "preparation"),
        (["--as", "session"], "--out"),
    ],
)  # fmt: skip
def test_bad_input_is_told_and_nothing_is_written(
    practice: Path, run: Any, monkeypatch: pytest.MonkeyPatch, words: list[str], told: str
) -> None:
    monkeypatch.chdir(practice)
    (practice / "taken.html").write_text("<p>mine</p>", encoding="utf-8")
    done = run("brief", "client-01", *words)
    assert done.exit_code == 2
    assert told in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (practice / "p.html").exists()
    assert (practice / "taken.html").read_text("utf-8") == "<p>mine</p>"


def test_a_page_of_miners_own_may_be_written_again(
    practice: Path, run: Any, tmp_path: Path
) -> None:
    words = ("brief", str(practice / "client-03"), "--out", str(tmp_path / "p.html"), "--as")
    assert [run(*words, kind).exit_code for kind in ("doctor", "doctor")] == [3, 3]


@pytest.mark.usefixtures("planned_in_march")
def test_the_dates_of_a_plan_are_found(practice: Path, run: Any, tmp_path: Path) -> None:
    client = practice / "client-01"
    words = ("--start", "2026-03-02", "--length", "short", "--format", "json")
    planned = run("plan", str(client), SHORT_NIGHTS, *words)
    name = json.loads(planned.stdout)["plan"]
    out = tmp_path / "p.html"
    done = run("brief", str(client), "--out", str(out), "--as", "take-home", "--plan", name)
    assert done.exit_code == 0
    assert "do this on the days that your sheet says" in out.read_text("utf-8")


def test_a_client_at_risk_gets_calm_pages_and_an_action_without_asking_for_them(
    practice: Path,
) -> None:
    client = practice / "client-01"
    toml = client / "client.toml"
    text = toml.read_text("utf-8").replace('eating_disorder = "no"', 'eating_disorder = "yes"')
    toml.write_text(text, encoding="utf-8")
    found = steps.briefing(steps.read_client(client), remember=False)
    assert found.calm
    assert found.actions == ("Talk to your doctor first.",)


def test_the_actions_of_readings_are_found_in_either_unit(practice: Path) -> None:
    client = practice / "client-03"
    rows = (client / "glucose.csv").read_text("utf-8").splitlines()
    head = rows[0].split(",")
    at = head.index("glucose_mg_dl")
    for number in range(600, 640):
        cells = rows[number].split(",")
        cells[at] = "215"
        rows[number] = ",".join(cells)
    (client / "glucose.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    for unit in ("mg/dL", "mmol/L"):
        (practice / "practice.toml").write_text(f'display_unit = "{unit}"\n', encoding="utf-8")
        found = steps.briefing(steps.read_client(client), remember=False)
        assert found.actions == ("See your doctor first.",)


def test_a_ledger_that_cannot_be_written_is_told_and_the_page_stays(
    practice: Path, run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from miner import ledger

    def refuse(*_: Any, **__: Any) -> None:
        raise ledger.LedgerUnwritable("ledger.unwritable", reason="the disk is full")

    monkeypatch.setattr(ledger, "append", refuse)
    out = tmp_path / "p.html"
    done = run("brief", str(practice / "client-03"), "--out", str(out), "--as", "doctor")
    assert out.exists()
    assert "What was shared could not be saved in the ledger: " in done.stderr
    assert "the ledger cannot be written (the disk is full)." in done.stderr


def test_the_demo_writes_pages_with_what_is_clear(practice: Path) -> None:
    client = steps.read_client(practice / "client-01")
    pages = steps.write_pages(
        client, steps.rank(client, remember=False), practice / "client-01" / "pages", render
    )
    assert [path.name for path in pages] == [
        "preparation.html", "session.html", "take-home.html", "doctor.html",
    ]  # fmt: skip
    assert all(SHORT_NIGHTS in path.read_text("utf-8") for path in pages[:2])
    assert [event["page"] for event in shared(practice / "client-01")] == [
        "session", "take-home", "doctor",
    ]  # fmt: skip
    assert len(pages[1].read_bytes()) < 1_500_000

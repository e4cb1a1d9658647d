"""The overview of a practice: no barrier, on a telephone, on paper, hostile names inert."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe

from miner import rulebook
from miner.core.results import Evidence
from miner.core.results.caseload import ByClient, Caseload, ClientRow, Estimate, PooledEffect
from miner.render.pages import caseload_page
from miner.steps.caseload import with_sentences

LAPTOP, TELEPHONE = (1280, 800), (390, 844)
HOSTILE = "<img src=x onerror=alert(3)>\u202e" + "w" * 600
CLIENTS = 24


def effect(factor: str, evidence: Evidence, names: list[str]) -> PooledEffect:
    true = 6 + 3 * np.random.default_rng(len(factor)).normal(size=len(names))
    answer = Estimate(6.0, 1.0, (3.9, 8.1), 22.0, 1e-5, 3.0, len(names))
    each = tuple(
        ByClient(name, name, float(at), float(at), (at - 3, at + 3), at > 11, Evidence.CANNOT_TELL)
        for name, at in zip(names, true, strict=True)
    )
    return PooledEffect(
        factor, "wake_glucose", 0, "precedes", "mg/dL", len(names), 600, 6.0, (3.9, 8.1), 22.0,
        1e-5, 1e-3, 3.0, evidence, "reml", answer, answer, False, None, 0.2, 5.0, 7.0, each,
    )  # fmt: skip


def caseload(first: str) -> Caseload:
    names = [first, *(f"client-{k:02d}" for k in range(2, CLIENTS + 1))]
    rows = [
        ClientRow(
            name, name, "day", 20 + k % 11, k % 3, "ranked", k % 2, k % 4, k % 5 != 0,
            attention=(f"Questions in the check ({k % 4 + 1}): miner check CLIENT shows them.",),
            not_asked=("medicines", "pregnancy, possible or planned", "sleep apnoea"),
        )
        for k, name in enumerate(names)
    ]  # fmt: skip
    broken = ClientRow("client-25", "client-25", "", 0, 0, "error", 0, 0, None, f"{first}: empty")
    levels = {"short_sleep": Evidence.CLEAR, "late_dinner": Evidence.HINT,
              "broken_sleep": Evidence.CANNOT_TELL}  # fmt: skip
    pooled = tuple(effect(factor, level, names) for factor, level in levels.items())
    found = Caseload(
        first, "0", "day", "mg/dL", (*rows, broken), 19, 5, 1, 0.05, 3, 2, pooled,
        (f"{first}: the folder is missing.",), (f"2 folders say they are {first}.",),
    )  # fmt: skip
    return with_sentences(found, rulebook.load())


def written(folder: Path, first: str) -> Path:
    path = folder / "overview.html"
    path.write_text(caseload_page(caseload(first), rulebook.load()), encoding="utf-8")
    return path


def barriers(page: Any) -> list[str]:
    return [item["id"] for item in Axe().run(page).response["violations"]]


@pytest.mark.prove
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [LAPTOP, TELEPHONE])
def test_no_barrier_and_nothing_wider_than_the_screen(
    tmp_path: Path, visit: Any, size: tuple[int, int], scheme: str
) -> None:
    path = written(tmp_path, "client-01")
    page = visit(path, size=size, color_scheme=scheme, bypass_csp=True).page
    for summary in page.locator("details summary").all():
        summary.click()
    assert barriers(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert page.locator("svg:visible").count() == 2


def test_a_barrier_would_be_found(tmp_path: Path, visit: Any) -> None:
    path = written(tmp_path, "client-01")
    path.write_text(path.read_text("utf-8").replace('<html lang="en">', "<html>"), "utf-8")
    assert "html-has-lang" in barriers(visit(path, bypass_csp=True).page)


@pytest.mark.parametrize("size", [LAPTOP, TELEPHONE])
def test_a_hostile_name_does_nothing(tmp_path: Path, visit: Any, size: tuple[int, int]) -> None:
    path = written(tmp_path, HOSTILE)
    watched = visit(path, size=size)
    page = watched.page
    for summary in page.locator("details summary").all():
        summary.click()
    assert watched.requests == [path.as_uri()]
    assert watched.console == []
    assert watched.dialogs == []
    assert page.locator("img").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    text = page.content()
    assert "\u202e" not in text
    assert "w" * 500 not in text
    assert "onerror=alert(3)" in page.inner_text("body")

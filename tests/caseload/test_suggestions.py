"""Questions for one client from the records of the others: never from its own."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from miner import ledger, rulebook, steps
from miner.caseload.fitting import PooledQuestion
from miner.caseload.pooling import MAX_SUGGESTED, strongest, suggest
from miner.caseload.question import OwnSlopes
from miner.caseload.store import NAME
from miner.cli.group import miner as commands
from miner.core.results import Evidence, Shape
from miner.core.results.caseload import Caseload, Suggestion
from miner.render.pages import caseload_page
from miner.render.terminal import render
from miner.stats.pooling import paule_mandel
from miner.stats.pooling_own import DEPENDENCES, SlopesOnGrid
from miner.steps.caseload import pool
from miner.words.practice import caseload_parts


@pytest.fixture(scope="module")
def few(practice: Path, made_once: Callable[..., Path]) -> Path:
    """Six clients in whom short nights come before higher mornings, looked at by both units."""

    def made(home: Path) -> Path:
        folder = home / "practice"
        shutil.copytree(practice / "rules", folder / "rules")
        for k in range(1, 7):
            shutil.copytree(practice / f"client-0{k}", folder / f"client-0{k}")
        pool(folder)
        for name in ("client-01", "client-02"):  # the meals of the others, then of client-01
            steps.suggested_questions(folder / name)
        return folder

    return made_once("caseload-few", made)


@pytest.fixture
def copy(few: Path, tmp_path: Path) -> Path:
    shutil.copytree(few, tmp_path / "practice")
    return tmp_path / "practice"


@pytest.fixture
def run() -> Callable[..., Result]:
    def call(*words: str) -> Result:
        return CliRunner().invoke(commands, list(words))

    return call


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


def other_days(folder: Path) -> None:
    """Turn what a client recorded upside down: another glucose, nights of another length."""
    for name, column in (("glucose.csv", 1), ("sleep.csv", 2)):
        lines = (folder / name).read_text("utf-8").splitlines()
        rows = [line.split(",") for line in lines]
        values = [row[column] for row in rows[1:]]
        for row, value in zip(rows[1:], reversed(values), strict=True):
            row[column] = value
        (folder / name).write_text("\n".join(",".join(row) for row in rows) + "\n", "utf-8")


def question(factor: str = "short_sleep", outcome: str = "wake_glucose") -> PooledQuestion:
    rules = rulebook.load()
    target = rules.outcome(outcome)
    return PooledQuestion(factor, rules.factor(factor), 0, outcome, target)


def own(slopes: np.ndarray, errors: np.ndarray, clients: np.ndarray | None = None) -> OwnSlopes:
    """Return slopes that are the same at every dependence."""
    numbers = np.arange(slopes.size) if clients is None else clients
    on_grid = SlopesOnGrid(
        np.tile(slopes, (len(DEPENDENCES), 1)),
        np.tile(errors, (len(DEPENDENCES), 1)),
        np.zeros((len(DEPENDENCES), slopes.size)),
    )
    return OwnSlopes(numbers, on_grid, np.ones(slopes.size))


def test_what_is_suggested_is_the_mean_of_the_others(found: Caseload) -> None:
    rng = np.random.default_rng(1)
    slopes, errors = rng.normal(9, 2, 8), rng.uniform(1, 2, 8)
    asked = [(question(), {Shape.CUT: own(slopes, errors)})]
    for out in (3, 5):
        ((item,), count) = suggest(asked, 8, [(out,)], rulebook.load(), "day")[0]
        rest = np.delete(np.arange(8), out)
        alone = paule_mandel(slopes[rest], errors[rest])
        assert (item.clients, item.guess, count) == (7, "up", 1)
        assert item.difference == pytest.approx(alone.estimate, rel=1e-8)
        assert item.interval == pytest.approx(alone.interval, rel=1e-8)
        assert item.p == pytest.approx(alone.p, rel=1e-6)
        assert item.p_adjusted == pytest.approx(2 * alone.p, rel=1e-6)  # days and meals


def test_of_cut_and_dose_the_better_speaks_at_twice_its_p() -> None:
    rng = np.random.default_rng(2)
    weak, strong = rng.normal(-4, 4, 9), rng.normal(-6, 1, 9)
    by_shape = {Shape.CUT: own(weak, np.full(9, 2.0)), Shape.DOSE: own(strong, np.full(9, 1.0))}
    ((item,), _) = suggest([(question(), by_shape)], 9, [()], rulebook.load(), "day")[0]
    alone = paule_mandel(strong, np.full(9, 1.0))
    assert (item.shape, item.guess) == (Shape.DOSE, "down")
    assert item.per is not None
    assert item.p == pytest.approx(2 * alone.p, rel=1e-6)


def test_a_question_that_too_few_others_have_is_not_asked() -> None:
    slopes = np.array([9.0, 9.1, 9.2])
    asked = [(question(), {Shape.CUT: own(slopes, np.full(3, 0.1), np.array([0, 2, 4]))})]
    found = suggest(asked, 6, [(1,), (2,)], rulebook.load(), "day")
    assert [count for _, count in found] == [1, 0]
    assert [len(items) for items, _ in found] == [1, 0]


def test_there_is_one_question_a_habit_and_five_in_all() -> None:
    item = Suggestion(
        "a",
        "wake_glucose",
        "day",
        0,
        "precedes",
        "up",
        9,
        5.0,
        (1.0, 9.0),
        "mg/dL",
        0.01,
        0.2,
        Evidence.HINT,
    )
    many = [
        replace(item, factor=name, p_adjusted=0.9 - at / 20) for at, name in enumerate("abcdefg")
    ]
    twice = replace(item, factor="g", outcome="overnight_mean", p_adjusted=0.01)
    chosen = strongest([*many, twice])
    assert [one.factor for one in chosen] == ["g", "f", "e", "d", "c"]
    assert chosen[0] is twice
    assert len(chosen) == MAX_SUGGESTED


def test_changing_this_clients_days_never_changes_what_is_suggested_for_it(copy: Path) -> None:
    before = steps.suggested_questions(copy / "client-02")
    assert [item.factor for item in before.questions] == ["short_sleep"]
    assert (before.others, before.questions[0].guess) == (5, "up")
    listed = {item.folder: item for item in pool(copy).suggested}["client-02"]
    other_days(copy / "client-02")
    assert steps.suggested_questions(copy / "client-02") == before
    again = {item.folder: item for item in pool(copy).suggested}
    assert [item.factor for item in again["client-02"].questions] == ["short_sleep"]
    for one, two in ((listed, before), (again["client-02"], before)):
        assert one.questions[0].difference == pytest.approx(two.questions[0].difference, rel=1e-6)
        assert one.questions[0].interval == pytest.approx(two.questions[0].interval, rel=1e-6)
        assert str(one.questions[0].sentence) == str(two.questions[0].sentence)
    # the days that were changed do count for another client
    assert again["client-01"].questions != listed.questions
    moved = steps.suggested_questions(copy / "client-01").questions
    assert moved != before.questions


def test_nothing_is_written_to_the_client_or_kept_of_it(copy: Path) -> None:
    shutil.rmtree(copy / NAME)
    before = {path: path.read_bytes() for path in (copy / "client-02").rglob("*")}
    steps.suggested_questions(copy / "client-02", draws=100)
    assert {path: path.read_bytes() for path in (copy / "client-02").rglob("*")} == before
    kept = b"".join(path.read_bytes() for path in (copy / NAME).rglob("*.parquet"))
    assert b"client-01" in kept
    assert b"client-02" not in kept


def test_nothing_but_the_consent_is_read_of_one_who_did_not_agree(copy: Path) -> None:
    shutil.rmtree(copy / NAME)
    for k in range(3, 7):
        change(copy / f"client-0{k}" / "client.toml", "pooled = true", "pooled = false")
    (copy / "letters").mkdir()
    assert steps.suggested_questions(copy / "client-01").others == 1
    assert not (copy / NAME).exists()


def test_one_who_did_not_agree_never_contributes(copy: Path) -> None:
    change(copy / "client-03" / "client.toml", "pooled = true", "pooled = false")
    change(copy / "client-04" / "client.toml", "pooled = true", "")
    before = steps.suggested_questions(copy / "client-01")
    assert before.others == 3
    assert {item.clients for item in before.questions} <= {3}
    other_days(copy / "client-03")
    other_days(copy / "client-04")
    assert steps.suggested_questions(copy / "client-01") == before


def test_one_who_did_not_agree_is_offered_what_the_others_show(copy: Path) -> None:
    change(copy / "client-02" / "client.toml", "pooled = true", "pooled = false")
    shown = {item.folder: item for item in pool(copy).suggested}["client-02"]
    assert (shown.others, shown.questions[0].clients) == (5, 5)


def test_a_copy_of_a_client_is_left_out_with_it(copy: Path) -> None:
    before = steps.suggested_questions(copy / "client-02")
    shutil.copytree(copy / "client-02", copy / "another")
    assert steps.suggested_questions(copy / "client-02") == before
    change(copy / "another" / "client.toml", "client-02", "somebody")
    assert steps.suggested_questions(copy / "client-02") == before
    change(copy / "another" / "client.toml", "somebody", "client-02")
    shown = {item.folder: item for item in pool(copy).suggested}
    assert shown["client-02"].others == shown["another"].others == 5


def test_with_too_few_others_it_says_so(copy: Path, run: Callable[..., Result]) -> None:
    for k in (3, 4, 5, 6):
        change(copy / f"client-0{k}" / "client.toml", "pooled = true", "pooled = false")
    result = run("ask", str(copy / "client-02"), "--suggest")
    assert result.exit_code == 0
    said = " ".join(result.stdout.split())
    assert (
        "1 other client agreed to be pooled and could be used, and 3 are needed, so nothing can be "
        "suggested yet."
    ) in said
    for k in (1, 3, 4, 5, 6):
        shutil.rmtree(copy / f"client-0{k}")
    alone = json.loads(run("ask", str(copy / "client-02"), "--suggest", "--format", "json").stdout)
    assert (alone["others"], alone["fewest"], alone["questions"]) == (0, 3, [])


def test_a_client_without_records_is_offered_questions_ready_to_run(
    copy: Path, run: Callable[..., Result]
) -> None:
    new = copy / "new client"
    new.mkdir()
    said = run("ask", str(new), "--suggest").stdout
    assert "They come from the records of 6 other clients who agreed" in " ".join(said.split())
    assert "Across 6 other clients, waking glucose was" in " ".join(said.split())
    line = next(line.strip() for line in said.splitlines() if "miner ask" in line)
    assert line == (
        f"miner ask '{new}' --factor short_sleep --outcome wake_glucose --fix --guess up"
    )
    told = json.loads(run("ask", str(new), "--suggest", "--format", "json").stdout)
    assert told["questions"][0]["command"] == line
    assert told["questions"][0]["evidence"] in ("clear", "hint")
    fixed = run("ask", str(new), *line.split("'")[2].split())
    assert fixed.exit_code == 0
    (event,) = ledger.read(new).events
    assert (event.payload["factor"], event.payload["guess"]) == ("short_sleep", "up")
    assert event.payload["looked"] is False
    after = steps.suggested_questions(new)
    assert (after.questions, after.fixed_already) == ((), 1)
    assert "1 other is written down already." in " ".join(
        run("ask", str(new), "--suggest").stdout.split()
    )


def test_nothing_else_is_asked_beside(few: Path, run: Callable[..., Result]) -> None:
    result = run("ask", str(few / "client-01"), "--suggest", "--fix")
    assert result.exit_code == 2
    assert "--suggest and --fix cannot be given together" in result.stderr


def test_the_caseload_shows_what_is_offered_to_whom(found: Caseload, practice: Path) -> None:
    rules = steps.rules_of_practice(practice)
    text = " ".join(render(caseload_parts(found, rules), 100, styled=False).split())
    assert "Questions to write down, from other clients' records" in text
    assert "a short night: waking glucose higher" in text
    assert "never from the client's own" in text
    page = caseload_page(found, rules)
    assert "a short night: waking glucose higher" in page
    assert len(found.suggested) == len(found.clients)
    others = {item.folder: item.others for item in found.suggested}
    # 22 agreed, client-24 among them, who cannot be used
    assert (others["client-01"], others["client-22"]) == (20, 21)


def test_hints_are_told_with_what_chance_alone_would_give(found: Caseload) -> None:
    from miner.words.ask import luck

    rules = rulebook.load()
    offered = next(item for item in found.suggested if item.questions)
    hint = tuple(replace(item, evidence=Evidence.HINT) for item in offered.questions)
    assert luck(replace(offered, questions=hint, asked=140), rules).count("about 7 such hints") == 1
    clear = tuple(replace(item, evidence=Evidence.CLEAR) for item in offered.questions)
    assert luck(replace(offered, questions=clear), rules) == ""

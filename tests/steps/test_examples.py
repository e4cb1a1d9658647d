"""The examples in the docstrings of the verbs run, on the records that a reader has as well."""

from __future__ import annotations

import doctest
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

import miner
from miner import steps
from miner.core import resources
from miner.core.results import CheckReport, ErrorRate, Hypothesis, Ranking
from miner.core.results.caseload import Caseload
from miner.core.results.why import Why

EXAMPLES = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a client of the demo and a small invented practice."""
    folder = tmp_path_factory.mktemp("examples")
    invented = resources.invented()
    ready = invented.living_scenarios(date(2026, 2, 24))["ready"]
    invented.write_practice(folder / "miner-demo", (ready,))
    steps.generate(folder / "invented", 2, 8, 0)
    return folder


@pytest.fixture(scope="module")
def known(home: Path) -> dict[str, Any]:
    """What an example may name: the package, its verbs, and a client as read."""
    verbs = {name: getattr(miner, name) for name in miner.__all__}
    return {"miner": miner, "client": miner.read_client(home / "miner-demo/client-01"), **verbs}


TOLD_OF = {
    "miner": miner,
    **{name: getattr(miner, name) for name in miner.__all__},
    **{
        each.__name__: each for each in (Caseload, CheckReport, ErrorRate, Hypothesis, Ranking, Why)
    },
}


@pytest.mark.parametrize("name", TOLD_OF)
def test_the_example_of_a_verb_or_of_its_result_runs(
    name: str, known: dict[str, Any], home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(home)
    finder = doctest.DocTestFinder(recurse=False)
    found = finder.find(TOLD_OF[name], name, module=False, globs=dict(known))
    examples = [each for each in found if each.examples]
    assert examples, f"{name} has no example"
    runner = doctest.DocTestRunner(optionflags=EXAMPLES)
    told: list[str] = []
    for each in examples:
        runner.run(each, out=told.append)
    assert runner.summarize(verbose=False).failed == 0, "".join(told)


def elsewhere() -> list[str]:
    """Return the modules with examples that need no records."""
    package = Path(miner.__file__).parent
    paths = [path for path in package.rglob("*.py") if ">>> " in path.read_text("utf-8")]
    names = [".".join(path.relative_to(package.parent).with_suffix("").parts) for path in paths]
    with_records = ("miner.steps.", "miner.core.results.", "miner.__init__")
    return sorted(name for name in names if not name.startswith(with_records))


@pytest.mark.parametrize("name", elsewhere())
def test_an_example_without_records_runs(name: str) -> None:
    assert doctest.testmod(import_module(name), optionflags=EXAMPLES).failed == 0

"""The structure of the package: imports, signatures, names. What is over its goal is printed.

Where a goal is not reached yet, the bound is what was reached so far: it is lowered with each
step and never raised.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted(ROOT.glob("miner/**/*.py"))

GOAL_CHAIN, BOUND_CHAIN = 12, 12
MAX_SINGLE = 0.15
MAX_PARAMETERS = 6
GOAL_PARAMETERS, BOUND_PARAMETERS = 0, 0
GOAL_BOOLEANS, BOUND_BOOLEANS = 0, 0
GOAL_TWICE, BOUND_TWICE = 0, 0

ONE_FILE_EACH = ("miner.cli.", "miner.page.views.", "miner.records.read.")
"""One file a command, a screen, a reader: each is an idea of its own and is called from one."""
MANY_PARAMETERS: dict[str, str] = {
    "miner/steps/ranking.py:rank": "a verb of Python: all but two are named, with a default",
    "miner/steps/asking.py:ask": "a verb of Python: all but four are named, with a default",
    "miner/steps/asking.py:error_rate": "a verb of Python: all but two are named, with a default",
    "miner/steps/caseload.py:pool": "a verb of Python: all but one are named, with a default",
    "miner/steps/fixing.py:fix_question": "a verb of Python: what is asked, then named defaults",
    "miner/steps/keeping.py:keep": "a verb of Python: what is kept and how, then named defaults",
    "miner/steps/keeping.py:plan": "a verb of Python: what is tested and how, then named defaults",
    "miner/steps/meal_steps.py:compare_meals": "a verb of Python: all but two have a default",
    "miner/steps/merging.py:merge": "a verb of Python: all but three have a default",
}
"""Functions that may have more parameters, each with the reason."""
TABLES_OF_DATA = (
    "miner/tables/columns.py",
    "miner/tables/food/eating.py",
    "miner/tables/movement/tracker.py",
)
"""Modules in which a table of data is set by hand."""
DOORS = ("cli", "page")
BELOW_STEPS = {"ledger", "records", "stats", "tables", "hypotheses", "followup", "caseload"}
DOOR_OF_PYTHON = "miner -> miner.words."


def within(what: str, over: Iterable[str], bound: int, goal: int) -> None:
    """Print what is over the goal; fail where it is more than the bound."""
    found = list(over)
    told = f"{what}: {len(found)}, goal {goal}, not to be more than {bound}"
    print(told, *found, sep="\n  ")
    assert len(found) <= bound, "\n  ".join([told, *found])


def name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def trees() -> dict[str, ast.Module]:
    return {name(path): ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}


@cache
def imports() -> dict[str, set[str]]:
    """Return what each module imports, inside functions as well, not for type checkers."""
    graph = grimp.build_graph("miner", exclude_type_checking_imports=True, cache_dir=None)
    return {each: set(graph.find_modules_directly_imported_by(each)) for each in graph.modules}


def chain_from(module: str, graph: dict[str, set[str]], on_the_way: tuple[str, ...]) -> list[str]:
    """Return the longest chain from a module; a circle is walked once."""
    if module in CHAINS:
        return CHAINS[module]
    below = (
        chain_from(each, graph, (*on_the_way, module))
        for each in sorted(graph[module] - {*on_the_way, module})
    )
    CHAINS[module] = [module, *max(below, key=len, default=[])]
    return CHAINS[module]


CHAINS: dict[str, list[str]] = {}


def longest_chain(graph: dict[str, set[str]]) -> list[str]:
    CHAINS.clear()
    return max((chain_from(each, graph, ()) for each in sorted(graph)), key=len)


def by_string(tree: ast.Module, package: str, modules: Iterable[str]) -> Iterator[str]:
    """Return the modules that a module loads by their names, where it loads any so."""
    if not any(
        isinstance(node, ast.Name) and node.id == "import_module" for node in ast.walk(tree)
    ):
        return
    known = set(modules)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value.replace("-", "_")
            yield from known & {text, f"{package}.{text}"}


def with_one_importer(
    graph: dict[str, set[str]], loaded: dict[str, set[str]]
) -> tuple[list[str], int]:
    """Return the modules that a single one imports, and how many modules there are, no faces."""
    importers: dict[str, set[str]] = defaultdict(set)
    for edges in (graph, loaded):
        for module, below in edges.items():
            for each in below:
                importers[each].add(module)
    faces = {module.rpartition(".")[0] for module in graph}
    plain = sorted(set(graph) - faces)
    single = [each for each in plain if len(importers[each]) == 1]
    return [each for each in single if not each.startswith(ONE_FILE_EACH)], len(plain)


def public_functions(body: list[ast.stmt], head: str = "") -> Iterator[tuple[str, ast.FunctionDef]]:
    for node in body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield head + node.name, node
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from public_functions(node.body, f"{node.name}.")


def is_command(function: ast.FunctionDef) -> bool:
    """Whether its parameters are the options of a command."""
    return any(ast.unparse(each).startswith("click.") for each in function.decorator_list)


def positional(function: ast.FunctionDef) -> list[ast.arg]:
    given = [*function.args.posonlyargs, *function.args.args]
    return [each for each in given if each.arg not in ("self", "cls")]


def many_parameters(tree: ast.Module) -> Iterator[tuple[str, int]]:
    for called, function in public_functions(tree.body):
        count = len(positional(function)) + len(function.args.kwonlyargs)
        if count > MAX_PARAMETERS and not is_command(function):
            yield called, count


def bare_booleans(tree: ast.Module) -> Iterator[str]:
    for called, function in public_functions(tree.body):
        for each in positional(function):
            kind = "" if each.annotation is None else ast.unparse(each.annotation)
            if kind in ("bool", "bool | None") and not is_command(function):
                yield f"{called}({each.arg})"


def contracts() -> dict[str, dict[str, list[str]]]:
    book = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    return {each["name"]: each for each in book["tool"]["importlinter"]["contracts"]}


def test_longest_chain_of_imports_is_short() -> None:
    within("modules in the longest chain", longest_chain(imports()), BOUND_CHAIN, GOAL_CHAIN)


def test_few_modules_have_one_importer() -> None:
    graph = imports()
    loaded = {
        each: set(by_string(trees()[path], each.removesuffix(".group"), graph))
        for each in graph
        if (path := module_path(each)) in trees()
    }
    single, whole = with_one_importer(graph, loaded)
    most = int(MAX_SINGLE * whole)
    within(f"modules with a single importing module, of {whole}", single, most, most)


def module_path(module: str) -> str:
    stem = module.replace(".", "/")
    return f"{stem}/__init__.py" if (ROOT / stem).is_dir() else f"{stem}.py"


def test_no_function_has_many_parameters() -> None:
    found = {
        f"{path}:{called}": count
        for path, tree in trees().items()
        for called, count in many_parameters(tree)
    }
    over = [f"{key} has {count}" for key, count in found.items() if key not in MANY_PARAMETERS]
    within(
        f"functions of more than {MAX_PARAMETERS} parameters",
        over,
        BOUND_PARAMETERS,
        GOAL_PARAMETERS,
    )
    assert set(MANY_PARAMETERS) - set(found) == set(), "an exception that is none"


def test_no_boolean_is_given_without_its_name() -> None:
    over = [f"{path}:{each}" for path, tree in trees().items() for each in bare_booleans(tree)]
    within("booleans that may be given without a name", over, BOUND_BOOLEANS, GOAL_BOOLEANS)


def test_no_class_name_is_used_twice() -> None:
    places = defaultdict(list)
    for path, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(path)
    twice = [f"{key}: {', '.join(where)}" for key, where in places.items() if len(where) > 1]
    within("names of several classes", twice, BOUND_TWICE, GOAL_TWICE)


def test_only_tables_of_data_are_set_by_hand() -> None:
    marked = {name(path) for path in MODULES if "# fmt: skip" in path.read_text("utf-8")}
    assert sorted(marked) == sorted(TABLES_OF_DATA)


def test_imports_go_down_only() -> None:
    layers = contracts()["Imports go down only"]
    assert layers["layers"] == [
        "miner.cli",
        "miner.page",
        "miner.render",
        "miner.words",
        "miner.steps",
        "miner.followup | miner.caseload",
        "miner.hypotheses",
        "miner.tables | miner.stats",
        "miner.records",
        "miner.ledger | miner.rulebook",
        "miner.core",
    ]
    words = contracts()["Words and their rendering know results and rule books only"]
    excused = [*layers["ignore_imports"], *words.get("ignore_imports", ())]
    assert [each for each in excused if not each.startswith(DOOR_OF_PYTHON)] == []


def test_doors_call_steps_and_words() -> None:
    past = [
        f"{module} -> {each}"
        for module, below in sorted(imports().items())
        if module.startswith(tuple(f"miner.{door}." for door in DOORS))
        for each in sorted(below)
        if each.split(".")[1] in BELOW_STEPS
    ]
    assert past == []


def test_measures_of_structure_see_what_they_measure() -> None:
    graph = {"p": set(), "p.a": {"p.b"}, "p.b": {"p.c", "p.a"}, "p.c": set(), "p.d": {"p.c"}}
    assert longest_chain(graph) == ["p.a", "p.b", "p.c"]
    assert with_one_importer(graph, {"p": {"p.d"}}) == (["p.a", "p.b", "p.d"], 4)
    code = "from importlib import import_module\nA = ('c-d', 'e', 'x')"
    assert sorted(by_string(ast.parse(code), "p", ["p.c_d", "p.e"])) == []
    code += "\ndef f(a):\n    return import_module(a)"
    assert sorted(by_string(ast.parse(code), "p", ["p.c_d", "p.e", "p.f"])) == ["p.c_d", "p.e"]
    code = "def f(a, b, c, d: bool, *, e=1, g: bool=False, h=2): ...\ndef _f(a: bool): ..."
    assert list(many_parameters(ast.parse(code))) == [("f", 7)]
    assert list(bare_booleans(ast.parse(code))) == ["f(d)"]
    assert list(bare_booleans(ast.parse("@click.command('x')\ndef f(a: bool): ..."))) == []
    with pytest.raises(AssertionError, match=re.escape("things: 2, goal 0, not to be more than 1")):
        within("things", ["a", "b"], 1, 0)

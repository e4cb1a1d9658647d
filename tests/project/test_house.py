"""The house: sizes, where libraries may be imported, the words that may be printed."""

from __future__ import annotations

import ast
import re
import subprocess
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from statistics import median

import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted([*ROOT.glob("miner/**/*.py"), *ROOT.glob("datasets/invented/**/*.py")])
TEXTS = sorted(
    path
    for path in ROOT.glob("miner/**/*")
    if path.suffix in {".html", ".j2", ".jinja", ".svg", ".txt", ".js"}
)
# A file is a chapter: most are of 100 to 200 lines, few of more than 300, none is packed to fit.
MAX_MODULE, MAX_MEDIAN, MAX_BODY = 500, 200, 60
MODEL_LIBRARIES = ("mlxtend", "statsmodels", "sklearn")

# A list of words that must not be printed has to hold them; it has this name.
DECLARED = "BANNED_WORDS"
CAUSAL = re.compile(
    r"\b(caus(e|es|ed|ing)|trigger(s|ed|ing)?|drives?|driven|driving|because|prove[sd]?"
    r"|lead(s|ing)? to|led to|your body reacts)\b",
    re.IGNORECASE,
)
# What could be tried adds, re-times or pairs; it takes no food away.
TAKES_AWAY = re.compile(
    r"\b(remov(e|ing)|avoid(ing)?|cut(ting)?|skip(ping)?|less|fewer|no more|stop|drop(ping)?"
    r"|without|reduc(e|ing)|limit(ing)?|instead|replac(e|ing)|swap|smaller|half (the|of)"
    r"|give up|leave out|do not|don't|never|eliminat(e|ing)|restrict)\b",
    re.IGNORECASE,
)


def name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=name(path))


def body_length(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from the first statement after the docstring to the end."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return (function.end_lineno or 0) - body[0].lineno + 1 if body else 0


def long_bodies(tree: ast.Module) -> Iterator[tuple[str, int]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = body_length(node)
            if length > MAX_BODY:
                yield node.name, length


def imported(tree: ast.Module) -> set[str]:
    """Top-level names of everything imported anywhere in a module."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.split(".")[0])
    return names


def declares(node: ast.AST) -> bool:
    targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
    return any(isinstance(item, ast.Name) and item.id == DECLARED for item in targets)


def docstrings(tree: ast.Module) -> set[int]:
    """Identities of the docstrings."""
    kinds = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef
    first = [node.body[0] for node in ast.walk(tree) if isinstance(node, kinds) and node.body]
    return {id(item.value) for item in first if isinstance(item, ast.Expr)}


def said_in_code(tree: ast.Module, with_docstrings: bool) -> Iterator[tuple[int, str]]:
    """String literals that may reach a reader; a command's docstring is its help."""
    left_out = set() if with_docstrings else docstrings(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign | ast.AnnAssign) and declares(node):
            left_out |= {id(item) for item in ast.walk(node)}
    for node in ast.walk(tree):
        said = node.value if isinstance(node, ast.Constant) else None
        if isinstance(said, str) and id(node) not in left_out:
            yield getattr(node, "lineno", 0), said


def said_in_book(value: object, key: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for inner, item in value.items():
            yield from said_in_book(item, f"{key}.{inner}" if key else inner)
    elif isinstance(value, list):
        for item in value:
            yield from said_in_book(item, key)
    elif isinstance(value, str):
        yield key, value


def book(path: Path) -> dict[str, object]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def tracked() -> Iterator[tuple[str, str]]:
    """Name and text of every text file that is committed."""
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for item in filter(None, listed.split("\0")):
        path = ROOT / item
        if path.is_file() and b"\0" not in (content := path.read_bytes()):
            yield item, content.decode("utf-8", errors="replace")


def test_no_module_is_long() -> None:
    lengths = {name(path): len(path.read_text("utf-8").splitlines()) for path in MODULES}
    assert {key: size for key, size in lengths.items() if size > MAX_MODULE} == {}
    sizes = [size for key, size in lengths.items() if not key.endswith("__init__.py")]
    assert median(sizes) <= MAX_MEDIAN


def assigned(tree: ast.Module) -> Iterator[str]:
    """Names that a module gives at its own level: values, functions, classes."""
    for node in tree.body:
        targets: list[ast.expr] = []
        if isinstance(node, ast.Assign):
            targets = node.targets
        elif isinstance(node, ast.AnnAssign):
            targets = [node.target]
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        stored = (each for target in targets for each in ast.walk(target))
        yield from (
            each.id
            for each in stored
            if isinstance(each, ast.Name) and isinstance(each.ctx, ast.Store)
        )


def test_no_name_of_a_module_is_given_twice() -> None:
    given = {name(path): Counter(assigned(parsed(path))) for path in MODULES}
    assert [(key, what) for key, found in given.items() for what in found if found[what] > 1] == []
    assert Counter(assigned(ast.parse("A, B = 1, 2\nB = 3\n")))["B"] == 2


def test_no_function_is_long() -> None:
    long = {f"{name(path)}: {f}": n for path in MODULES for f, n in long_bodies(parsed(path))}
    assert long == {}


def test_the_measure_of_a_body_leaves_out_the_docstring() -> None:
    head = 'def f(a,\n      b):\n    """One.\n\n    Two.\n    """'
    lines = [head, *["    a += b"] * (MAX_BODY + 1)]
    assert list(long_bodies(ast.parse("\n".join(lines)))) == [("f", MAX_BODY + 1)]
    assert list(long_bodies(ast.parse("\n".join(lines[:-1])))) == []


@pytest.mark.parametrize("library", MODEL_LIBRARIES)
def test_a_model_library_has_one_place(library: str) -> None:
    users = [name(path) for path in MODULES if library in imported(parsed(path))]
    assert [user for user in users if not user.startswith("miner/stats/")] == []
    assert len(users) <= 2, users


def test_nothing_that_reads_records_can_reach_a_network() -> None:
    network = {"socket", "ssl", "urllib", "http", "ftplib", "smtplib", "requests", "httpx"}
    users = {name(path): imported(parsed(path)) & network for path in MODULES}
    reaching = {key for key, used in users.items() if used}
    assert not {key for key in reaching if not key.startswith("miner/page/")}


def test_no_line_is_exempt_from_coverage() -> None:
    exempt = "no " + "cover"
    assert [name(path) for path in MODULES if exempt in path.read_text("utf-8")] == []


def test_imports_inside_functions_are_seen() -> None:
    code = (
        "def f():\n    from sklearn.linear_model import x\n    import mlxtend.frequent_patterns\n"
    )
    assert imported(ast.parse(code)) == {"sklearn", "mlxtend"}


def test_no_causal_verb_in_the_rule_books() -> None:
    found = [
        (path.name, key, text)
        for path in sorted((ROOT / "rules").glob("*.toml"))
        for key, text in said_in_book(book(path))
        if CAUSAL.search(text) and key.rpartition(".")[2] != DECLARED.lower()
    ]
    assert found == []


def test_no_causal_verb_in_what_the_code_may_print() -> None:
    found = [
        (name(path), line, text)
        for path in MODULES
        for line, text in said_in_code(
            parsed(path), with_docstrings=path.is_relative_to(ROOT / "miner" / "cli")
        )
        if CAUSAL.search(text)
    ]
    found += [
        (name(path), number, line)
        for path in TEXTS
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if CAUSAL.search(line)
    ]
    assert found == []


@pytest.mark.parametrize(
    "text",
    [
        "late dinners cause high mornings",
        "Short sleep triggered it",
        "stress drives glucose",
        "it rose because of dinner",
        "this proves it",
        "it led to a rise",
        "Your body reacts to stress",
    ],
)
def test_a_causal_sentence_would_be_found(text: str) -> None:
    tree = ast.parse(f"def f():\n    return f'{text} {{1}}'\n")
    assert [said for _, said in said_in_code(tree, False) if CAUSAL.search(said)]
    declared = ast.parse(f"BANNED_WORDS = ({text!r},)\n")
    assert list(said_in_code(declared, False)) == []
    assert [key for key, said in said_in_book({"a": {"b": [text]}}) if CAUSAL.search(said)]


@pytest.mark.parametrize("text", ["came before", "went with", "improve sleep", "leading question"])
def test_plain_words_are_not_taken_for_causal_ones(text: str) -> None:
    assert not CAUSAL.search(text)


def test_docstrings_are_read_only_where_they_are_help() -> None:
    tree = ast.parse('"""It proves."""\ndef f():\n    """It causes."""\n    return "it triggers"\n')
    assert [text for _, text in said_in_code(tree, False)] == ["it triggers"]
    assert len(list(said_in_code(tree, True))) == 3


def test_what_could_be_tried_takes_nothing_away() -> None:
    factors = book(ROOT / "rules" / "factors.toml")
    tries = {key: rule["try"] for key, rule in factors.items() if isinstance(rule, dict)}
    assert tries
    assert {key: text for key, text in tries.items() if TAKES_AWAY.search(text)} == {}


@pytest.mark.parametrize(
    "text", ["Avoid bread.", "Cut the pasta.", "Eat less rice.", "Skip dessert.", "No more juice."]
)
def test_taking_food_away_would_be_found(text: str) -> None:
    assert TAKES_AWAY.search(text)


def test_no_address_of_a_registry_and_no_path_of_a_machine_is_committed() -> None:
    registries = ("py" + "pi.org", "python" + "hosted", "npm" + "js", "debian" + ".org")
    folders = "|".join(("wo" + "rk", "ro" + "ot", "tm" + "p", "ho" + "me", "Us" + "ers"))
    address = re.compile("|".join(map(re.escape, registries)), re.IGNORECASE)
    machine = re.compile(rf"(^|[^a-zA-Z0-9_.~\w])/({folders})/")
    found = [
        (item, number, line)
        for item, text in tracked()
        for number, line in enumerate(text.splitlines(), 1)
        if address.search(line) or machine.search(line)
    ]
    assert found == []
    assert machine.search(" /" + "wo" + "rk/x")
    assert address.search("https://files.python" + "hosted.org/packages")


ROOMS_OF_FACTS: tuple[str, ...] = (
    "caseload",
    "cli",
    "core",
    "followup",
    "hypotheses",
    "ledger",
    "page",
    "records",
    "rulebook",
    "stats",
    "steps",
    "tables",
)
"""Rooms in which no sentence stands: what is said is a code with values."""
FEWEST_WORDS = 4


def sentences_in(path: Path) -> list[tuple[int, str]]:
    """Return the literal texts of four words or more, no docstrings, no help of options."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    apart: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            apart.add(id(node.value))
        if isinstance(node, ast.JoinedStr):
            apart |= {id(each) for each in node.values}
        if isinstance(node, ast.keyword) and node.arg in ("help", "short_help", "epilog"):
            apart |= {id(each) for each in ast.walk(node.value)}
    found = []
    for node in ast.walk(tree):
        if id(node) in apart:
            continue
        text = ""
        if isinstance(node, ast.JoinedStr):
            text = "".join(
                str(each.value) if isinstance(each, ast.Constant) else "x" for each in node.values
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        if len(text.split()) >= FEWEST_WORDS:
            found.append((node.lineno, text))
    return found


@pytest.mark.parametrize("room", ROOMS_OF_FACTS)
def test_no_sentence_stands_outside_words_and_their_rendering(room: str) -> None:
    for path in sorted((ROOT / "miner" / room).rglob("*.py")):
        assert sentences_in(path) == [], path

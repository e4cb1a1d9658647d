"""Nothing writes to the disk but ``miner/core/files.py``: private, whole and unlinked."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted([*ROOT.glob("miner/**/*.py"), *ROOT.glob("datasets/invented/**/*.py")])
OWN = ROOT / "miner" / "core" / "files.py"

WRITES = {
    "write_text", "write_bytes", "mkdir", "makedirs", "symlink_to", "symlink", "copy2",
    "copyfile", "copytree", "move", "mkstemp", "mktemp", "mkdtemp",
    "NamedTemporaryFile", "tofile", "savetxt", "savez", "memmap", "FileHandler", "FileLock",
}  # fmt: skip
"""Names of functions that write where they are given a path."""
EXPORTS = {
    "to_csv", "to_json", "to_html", "to_excel", "to_parquet", "to_feather", "to_pickle",
    "to_string", "to_latex", "to_markdown", "to_xml", "to_hdf", "to_sql",
}  # fmt: skip
"""Methods of tables that write to their first argument, and return a text without one."""
INTO = {"savefig", "ParquetWriter", "dump"}
"""What writes to a path or to an open file, whichever it is given."""
OPEN_FILES = ("BytesIO", "StringIO", "SpooledTemporaryFile", "whole_file", "IO[", "BinaryIO")


def name_of(call: ast.Call) -> str:
    target = call.func
    return target.attr if isinstance(target, ast.Attribute) else getattr(target, "id", "")


def said(node: ast.AST | None) -> str:
    return ast.unparse(node) if node is not None else ""


MODE = re.compile("[rwaxbtU+]{1,4}")


def mode_of(call: ast.Call) -> str:
    """The mode in which something is opened: a path's own method has it first, others second.

    A method may be that of an archive too, which has the name of a member first: what stands in
    either place and can be a mode is one.
    """
    method = isinstance(call.func, ast.Attribute) and said(call.func.value) not in ("io", "zipfile")
    given = [word.value for word in call.keywords if word.arg == "mode"]
    given += call.args[0 if method else 1 : 2]
    found = [str(one.value) for one in given if isinstance(one, ast.Constant)]
    return "".join(text for text in found if MODE.fullmatch(text))


def open_files(function: ast.AST) -> set[str]:
    """Names that are open files, or memory, within a function."""
    found = set()
    for node in ast.walk(function):
        if isinstance(node, ast.arg) and any(kind in said(node.annotation) for kind in OPEN_FILES):
            found.add(node.arg)
        elif isinstance(node, ast.Assign | ast.AnnAssign) and any(
            f"{kind}(" in said(node.value) for kind in OPEN_FILES
        ):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            found |= {said(target) for target in targets}
        elif isinstance(node, ast.withitem) and any(
            f"{kind}(" in said(node.context_expr) for kind in OPEN_FILES
        ):
            found.add(said(node.optional_vars))
    while more := in_memory(function, found) - found:
        found |= more
    return found


def in_memory(function: ast.AST, held: set[str]) -> set[str]:
    """Names of archives that are made in an open file, and of members opened in them."""
    found = set()
    for node in ast.walk(function):
        if isinstance(node, ast.withitem) and isinstance(node.context_expr, ast.Call):
            call = node.context_expr
            first = said(call.args[0]) if call.args else ""
            member = isinstance(call.func, ast.Attribute) and said(call.func.value) in held
            if (name_of(call) == "ZipFile" and first in held) or (
                member and name_of(call) == "open"
            ):
                found.add(said(node.optional_vars))
    return found


def writing(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Every call that may write to the disk."""
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        held = open_files(function)
        for call in ast.walk(function):
            if isinstance(call, ast.Call) and may_write(call, held):
                yield call.lineno, ast.unparse(call)


def may_write(call: ast.Call, held: set[str]) -> bool:
    name, first = name_of(call), said(call.args[0]) if call.args else ""
    if name == "open":
        own = (
            said(call.func) == "os.open" and "O_RDONLY" not in said(call) and "devnull" not in first
        )
        of = said(call.func.value) if isinstance(call.func, ast.Attribute) else ""
        return own or (of not in held and bool(set(mode_of(call)) & set("wax+")))
    if name in EXPORTS and isinstance(call.func, ast.Attribute):
        return bool(first) or any(
            word.arg in ("path_or_buf", "buf", "path") for word in call.keywords
        )
    if name == "ZipFile":
        return mode_of(call) not in ("", "r") and first not in held
    if name == "copyfileobj":
        return said(call.args[1]) not in held
    if name in INTO:
        return bool(first) and first not in held
    return name in WRITES or said(call.func) == "shutil.copy"


def test_nothing_else_writes_to_the_disk() -> None:
    found = [
        (path.relative_to(ROOT).as_posix(), line, code)
        for path in MODULES
        if path != OWN
        for line, code in writing(ast.parse(path.read_text("utf-8")))
    ]
    assert found == []


@pytest.mark.parametrize(
    "code",
    [
        "open(path, 'w')", "open(path, mode='ab')", "path.open('wb')", "path.open(mode='x')",
        "os.open(path, os.O_WRONLY)", "path.write_text(text)", "path.write_bytes(b'')",
        "path.mkdir()", "os.makedirs(path)", "frame.to_csv(path)", "frame.to_csv(path_or_buf=path)",
        "figure.savefig(path)", "zipfile.ZipFile(path, 'w')", "ZipFile(path, mode='a')",
        "shutil.copyfile(a, b)", "shutil.copy(a, b)", "pq.ParquetWriter(path, schema)",
        "FileLock(path)", "json.dump(value, path)", "io.open(path, 'w')",
        "shutil.copyfileobj(part, out)", "archive.open('xl/workbook.xml', 'w')",
        "archive.open(path, mode='w')",
    ],
)  # fmt: skip
def test_a_way_round_would_be_found(code: str) -> None:
    assert len(list(writing(ast.parse(f"def f(path):\n    {code}\n")))) == 1


@pytest.mark.parametrize(
    "code",
    [
        "open(path)", "path.open('rb')", "os.open(path, os.O_RDONLY)", "frame.to_csv(index=False)",
        "frame.copy()", "archive.open('xl/workbook.xml')", "archive.open(path, 'r')",
        "zipfile.ZipFile(path)", "memory = io.BytesIO(); figure.savefig(memory)",
        "memory = BytesIO(); zipfile.ZipFile(memory, 'w')",
        "made = BytesIO()\n    with ZipFile(made, 'w') as kept, kept.open('x', 'w') as out:"
        "\n        shutil.copyfileobj(path, out)",
    ],
)  # fmt: skip
def test_reading_and_memory_are_no_way_round(code: str) -> None:
    assert list(writing(ast.parse(f"def f(path):\n    {code}\n"))) == []

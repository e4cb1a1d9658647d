"""Finds the rule books, data sets and papers that travel with the package.

In a checkout and an editable install they are next to the package; in an installed wheel they are
inside it.
"""

from __future__ import annotations

import errno
import hashlib
import importlib.util
import os
import sys
from functools import cache
from pathlib import Path
from types import ModuleType

_PACKAGE = Path(__file__).resolve().parent.parent


def folder(name: str) -> Path:
    """Return the folder ``rules``, ``datasets`` or ``docs``.

    Raises:
        FileNotFoundError: the installation is incomplete.
    """
    for parent in (_PACKAGE, _PACKAGE.parent):
        if (parent / name).is_dir():
            return parent / name
    raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), name)


@cache
def program_hash(home: Path = _PACKAGE) -> str:
    """Return a hash of every source file of the program, by name and content."""
    digest = hashlib.sha256()
    for path in sorted(home.rglob("*.py")):
        content = path.read_bytes()
        digest.update(f"{path.relative_to(home).as_posix()}\0{len(content)}\0".encode() + content)
    return digest.hexdigest()[:32]


def invented() -> ModuleType:
    """Return the generator of invented clients, which lives in ``datasets/invented``."""
    name = "miner_invented"
    if name not in sys.modules:
        home = folder("datasets") / "invented"
        spec = importlib.util.spec_from_file_location(
            name, home / "__init__.py", submodule_search_locations=[str(home)]
        )
        if spec is None or spec.loader is None:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(home))
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]

"""What the tests of the steps share."""

from __future__ import annotations

import shutil
from collections import OrderedDict
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from miner import ledger, steps
from miner.core import resources
from miner.records.client import Client

MOST_KEPT = 6
OF_THE_LEDGER = (ledger.NAME, ".ledger.lock", ".ledger.last")


class Reader:
    """Reads a client once for as long as every file of the practice is the same, as a page does.

    What a client as read derives from its records, it keeps; no record changes under it.
    """

    def __init__(self) -> None:
        self.read = steps.read_client
        self.kept: OrderedDict[bytes, Client] = OrderedDict()

    def __call__(self, folder: Path) -> Client:
        mark = sha256(str(folder).encode())
        for path in sorted(folder.parent.rglob("*")):
            if path.is_file() and path.name not in OF_THE_LEDGER:
                mark.update(repr((str(path), path.read_bytes())).encode())
        key = mark.digest()
        if key not in self.kept:
            self.kept[key] = self.read(folder)
        self.kept.move_to_end(key)
        while len(self.kept) > MOST_KEPT:
            self.kept.popitem(last=False)
        return self.kept[key]


@pytest.fixture(scope="session")
def reader() -> Reader:
    return Reader()


@pytest.fixture(scope="session")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the client of each test stands, one after the other: so it need not be read again."""
    return tmp_path_factory.mktemp("steps") / "practice"


@pytest.fixture
def folder(
    made_once: Callable[..., Path], place: Path, reader: Reader, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Path]:
    """The records of a client in whom a late dinner goes with a much higher night."""

    def written(home: Path) -> Path:
        resources.invented().effect_client(home / "client-01", 3, "late_dinner", 25.0)
        return home

    shutil.copytree(made_once("practice-of-steps", written), place)
    monkeypatch.setattr(steps, "read_client", reader)
    yield place / "client-01"
    shutil.rmtree(place)
